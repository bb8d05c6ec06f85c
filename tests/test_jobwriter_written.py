"""One job written in the ways that TOML 1.0 allows, changed as the desk does; `tomllib` (standard library) judges.

Oracle: toml.io/en/v1.0.0, *Inline Table* and *Array of Tables*: both say the same, so a change must come to the same.
"""

import copy
import tomllib
from datetime import date

import pytest
import tomlkit

from sizing.errors import InputError
from sizing.jobs import edits as jobedits
from sizing.jobs.edits_of_photos import (
    add_obstacle,
    remove_obstacle,
    set_corners,
    set_photos,
    set_reference_corners,
    set_turn,
)
from sizing.jobs.writer import save

HEAD = '[job]\nid = "larch-1"\nunits = "in"\n'
LAST = '\n[job]\nid = "larch-1"\nunits = "in"\n'
PHOTO = 'file = "a.jpg", turn = 90, focal35 = 26, click_px = 4, when = "before"'
VISIT = 'by = "crew 1", on = 2026-05-01, width = { top = "36 1/8" }'
LISTS = f'photos = [{{ {PHOTO} }}, "b.jpg"], visit = [{{ {VISIT} }}]'
INLINE = f'label = "W1", wall = "masonry", width = {{ top = "36" }}, {LISTS}'
WAYS = {
    "in tables": f"""{HEAD}
[[opening]]
label = "W1"
wall = "masonry"
photos = [ # as they came
  {{ {PHOTO} }}, # from the street
  "b.jpg"
]
[opening.width]
top = "36"
[[opening.visit]]
by = "crew 1"
on = 2026-05-01
[opening.visit.width]
top = "36 1/8"
[[opening]]
label = "W2"
wall = "render"
""",
    "inline": f"""{HEAD}
[[opening]]
label = "W1"
wall = "masonry"
width = {{ top = "36" }}
photos = [{{ {PHOTO} }}, "b.jpg"]
visit = [{{ {VISIT} }}]
[[opening]]
label = "W2"
wall = "render"
""",
    "openings inline and first": f'opening = [{{ {INLINE} }}, {{ label = "W2", wall = "render" }}]{LAST}',
    "openings inline, one a line": f"""opening = [ # two
  {{ {INLINE} }}, # the first
  {{ label = "W2", wall = "render" }}, # the second
]{LAST}""",
    "photos in tables": f"""{HEAD}
[[opening]]
label = "W1"
wall = "masonry"
visit = [{{ {VISIT} }}]
width.top = "36"
[[opening.photos]] # one
file = "a.jpg"
turn = 90
focal35 = 26
click_px = 4
when = "before" # the storm
[[opening.photos]]
file = "b.jpg"
[[opening]]
label = "W2"
wall = "render"
""",
}
CORNERS = [[1, 2], [300, 4], [300, 500], [2, 501]]
QUAD = [[10, 10], [60, 10], [60, 50], [10, 50]]


def w1(raw):
    return raw["opening"][0]


def opening_added(document):
    jobedits.add_opening(document, "W3", "siding")


def visit_added(document):
    table = jobedits.opening_table(document, "W1")
    jobedits.add_visit(table, "crew 5", date(2026, 5, 11), "", {"width": {"middle": "37"}, "height": {"left": "60"}})


def readings_set(document):
    jobedits.set_readings(jobedits.opening_table(document, "W1"), {"width": {"top": "37"}, "height": {"left": "60"}})


def facts_set(document):
    jobedits.set_facts(jobedits.job_table(document), {"note": "by the river", "tape": "class-2"})


def photo_added(document):
    set_photos(jobedits.opening_table(document, "W1"), ["a.jpg", "b.jpg", "c.jpg"])


def photo_taken_out(document):
    set_photos(jobedits.opening_table(document, "W1"), ["a.jpg"])


def pointed(document):
    table = jobedits.opening_table(document, "W1")
    set_corners(table, "a.jpg", CORNERS, trace=False)
    set_reference_corners(table, "a.jpg", [QUAD])
    set_turn(table, "a.jpg", 180)


def pointed_where_a_bare_name_may_stand(document):
    set_corners(jobedits.opening_table(document, "W1"), "b.jpg", CORNERS)


def obstacle_added(document):
    add_obstacle(jobedits.opening_table(document, "W1"), "lamp", "a.jpg", (1, 2, 3, 4))


def visit(by, on, **boxes):
    return {"by": by, "on": on, **boxes}


EXPECTED = {
    opening_added: lambda raw: raw["opening"].append({"label": "W3", "wall": "siding"}),
    visit_added: lambda raw: w1(raw)["visit"].append(
        visit("crew 5", date(2026, 5, 11), width={"middle": "37"}, height={"left": "60"})
    ),
    readings_set: lambda raw: w1(raw).update(width={"top": "37"}, height={"left": "60"}),
    facts_set: lambda raw: raw["job"].update(note="by the river", tape="class-2"),
    photo_added: lambda raw: w1(raw)["photos"].append("c.jpg"),
    photo_taken_out: lambda raw: w1(raw)["photos"].pop(),
    pointed: lambda raw: w1(raw)["photos"][0].update(corners=CORNERS, trace=False, reference_corners=[QUAD], turn=180),
    pointed_where_a_bare_name_may_stand: lambda raw: w1(raw)["photos"].append(
        {"file": w1(raw)["photos"].pop(), "corners": CORNERS}
    ),
    obstacle_added: lambda raw: w1(raw).update(obstacles=[{"what": "lamp", "photo": "a.jpg", "box": [1, 2, 3, 4]}]),
}
NAMED = {
    readings_set: [("opening", "W1", "width", "top")],
    photo_taken_out: [("opening", "W1", "photos", "b.jpg")],
    pointed: [("opening", "W1", "photos", "a.jpg", key) for key in ("corners", "trace", "turn")],
}


def plain(text):
    """Return what a job file says; a photo in a table that says only its file is the same as its name."""
    raw = tomllib.loads(text)
    for opening in raw["opening"]:
        if "photos" in opening:
            opening["photos"] = [p["file"] if isinstance(p, dict) and len(p) == 1 else p for p in opening["photos"]]
    return raw


@pytest.fixture(params=WAYS)
def file(tmp_path, request):
    (tmp_path / "job.toml").write_text(WAYS[request.param])
    return tmp_path / "job.toml"


def test_all_ways_of_writing_say_the_same():
    first, *others = map(plain, WAYS.values())
    assert all(other == first for other in others)


@pytest.mark.parametrize("change", EXPECTED, ids=lambda f: f.__name__)
def test_a_change_comes_to_the_same_however_the_job_is_written(file, change):
    expected = copy.deepcopy(plain(file.read_text()))
    EXPECTED[change](expected)
    save(file, change, named=NAMED.get(change, ()))
    assert plain(file.read_text()) == expected


@pytest.mark.parametrize("change", EXPECTED, ids=lambda f: f.__name__)
def test_comments_stay_but_that_of_a_photo_taken_out(file, change):
    before = file.read_text()
    save(file, change, named=NAMED.get(change, ()))
    for comment in (
        "# as they came",
        "# from the street",
        "# two",
        "# the first",
        "# the second",
        "# one",
        "# the storm",
    ):
        assert (comment in file.read_text()) == (comment in before), comment


def test_comments_stay_where_the_last_photo_of_a_list_is_taken_out(tmp_path):
    file = tmp_path / "job.toml"
    opening = '[[opening]]\nlabel = "W1"\nwall = "masonry"\nphotos = [ # the list\n  "a.jpg", # beside\n]\n'
    file.write_text(HEAD + opening)
    save(file, lambda d: set_photos(jobedits.opening_table(d, "W1"), []), named=[("opening", "W1", "photos")])
    assert "# the list" in file.read_text()
    assert tomllib.loads(file.read_text())["opening"][0]["photos"] == []


def test_a_photo_listed_twice_keeps_what_is_told_of_each(tmp_path):
    file = tmp_path / "job.toml"
    photos = 'photos = [{ file = "a.jpg", turn = 90 }, { file = "a.jpg", turn = 180 }]\n'
    file.write_text(f'{HEAD}[[opening]]\nlabel = "W1"\nwall = "masonry"\n{photos}')
    save(file, lambda d: set_photos(jobedits.opening_table(d, "W1"), ["a.jpg", "a.jpg", "b.jpg"]))
    first, second, third = tomllib.loads(file.read_text())["opening"][0]["photos"]
    assert (first, second, third) == ({"file": "a.jpg", "turn": 90}, {"file": "a.jpg", "turn": 180}, "b.jpg")
    save(file, lambda d: set_corners(jobedits.opening_table(d, "W1"), "a.jpg", CORNERS, number=1), named=NAMED[pointed])
    first, second, third = tomllib.loads(file.read_text())["opening"][0]["photos"]
    assert first == {"file": "a.jpg", "turn": 90}
    assert second == {"file": "a.jpg", "turn": 180, "corners": CORNERS}


@pytest.mark.parametrize(
    "text",
    [
        f'[job.extra]\na = 1 # one\n{LAST}[[opening]]\nlabel = "W1"\nwall = "masonry"\n',
        f'{HEAD}[[opening]]\nlabel = "W1"\nwall = "masonry"\n[job.extra]\na = 1 # one\n',
        'job.id = "larch-1"\njob.units = "in"\njob.extra.a = 1 # one\n[[opening]]\nlabel = "W1"\nwall = "masonry"\n',
        f'{HEAD}extra.a = 1 # one\n[[opening]]\nlabel = "W1"\nwall = "masonry"\n',
    ],
    ids=["extra first", "extra last", "dotted", "dotted extra"],
)
def test_facts_of_a_job_go_in_wherever_its_tables_stand(tmp_path, text):
    file = tmp_path / "job.toml"
    file.write_text(text)
    save(file, facts_set)
    job = {"id": "larch-1", "units": "in", "extra": {"a": 1}, "note": "by the river", "tape": "class-2"}
    assert tomllib.loads(file.read_text())["job"] == job
    assert "# one" in file.read_text()


def opening_dropped(document):
    del document["opening"][0]


def openings_made_anew(document):
    document["opening"] = [{"label": "W3", "wall": "render"}]


def visits_made_anew(document):
    jobedits.opening_table(document, "W1")["visit"] = [{"by": "crew 5", "width": {"middle": "37"}}]


def photo_made_anew(document):
    jobedits.opening_table(document, "W1")["photos"][0] = {"file": "a.jpg", "corners": CORNERS}


def wall_changed(document):
    jobedits.opening_table(document, "W2")["wall"] = "panel"


def photos_swapped_for_another(document):
    jobedits.opening_table(document, "W1")["photos"] = ["c.jpg"]


LOST = {
    opening_dropped: "opening W1",
    openings_made_anew: "opening W1",
    visits_made_anew: "opening W1, visit 0, by",
    photo_made_anew: "opening W1, photos a.jpg, focal35",
    wall_changed: "opening W2, wall",
    photos_swapped_for_another: "opening W1, photos a.jpg",
}


@pytest.mark.parametrize("change", LOST, ids=lambda f: f.__name__)
def test_a_change_that_would_lose_what_it_does_not_name_is_refused_with_the_place(file, change):
    # The last line of defence: here the edits themselves are at fault, as an edit of lists once was.
    before = file.read_bytes()
    named = [("opening", "W1", "photos", "a.jpg", key) for key in ("corners", "turn")]
    with pytest.raises(InputError, match=f"altered or lost {LOST[change]}") as caught:
        save(file, change, named=named)
    assert len(caught.value.problems) == 1
    assert file.read_bytes() == before


def test_what_a_change_names_may_go(file):
    save(file, opening_dropped, named=[("opening", "W1")])
    assert [o["label"] for o in tomllib.loads(file.read_text())["opening"]] == ["W2"]


def one_table(text):
    return tomlkit.parse(text)["opening"][0]


def test_corners_pages_and_obstacles_are_taken_out_as_they_were_put_in():
    """Oracle: `tomllib` (standard library) reads the same before they are put in and after they are taken out."""
    text = WAYS["in tables"]
    document = tomlkit.parse(text)
    table = document["opening"][0]
    set_corners(table, "a.jpg", CORNERS, trace=False)
    set_reference_corners(table, "a.jpg", [QUAD])
    add_obstacle(table, "lamp", "a.jpg", (1, 2, 3, 4))
    add_obstacle(table, "pipe", "b.jpg", (5, 6, 7, 8))
    assert [o["what"] for o in tomllib.loads(document.as_string())["opening"][0]["obstacles"]] == ["lamp", "pipe"]
    remove_obstacle(table, 0)
    assert [o["what"] for o in tomllib.loads(document.as_string())["opening"][0]["obstacles"]] == ["pipe"]
    remove_obstacle(table, 0)
    set_corners(table, "a.jpg", None)
    set_reference_corners(table, "a.jpg", [])
    assert tomllib.loads(document.as_string()) == tomllib.loads(text)


def test_what_is_not_there_any_more_is_refused_by_its_name():
    table = one_table(WAYS["in tables"])
    with pytest.raises(InputError, match="none of the opening's photos"):
        set_corners(table, "gone.jpg", CORNERS)
    with pytest.raises(InputError, match="none of the opening's photos"):
        add_obstacle(table, "lamp", "gone.jpg", (1, 2, 3, 4))
    with pytest.raises(InputError, match="not there any more"):
        remove_obstacle(table, 0)
