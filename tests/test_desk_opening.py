"""The page of one opening over the real application; the check is a real one, of the demo's photo made smaller."""

import json
import re
import shutil
import time
import tomllib
from pathlib import Path

import numpy as np
import pytest

from sizing.check import check_job
from sizing.desk.decide_page import present_inputs
from sizing.desk.results import newest_result
from sizing.jobs.file import load_job
from sizing.release.decisions import read_decisions
from sizing.result.document import job_document
from sizing.saving import save_run
from tests.desk_visit import second_opening, visited

DEMO = Path(__file__).parent.parent / "fixtures" / "demo"
OWN = {"sec-fetch-site": "same-origin"}
HOSTILE = "<img src=x onerror=alert(1)>'\"{{7*7}}"


@pytest.fixture(scope="module")
def checked(tmp_path_factory):
    """A desk's folder with the demo's second opening, whose middle width holds a slip, checked."""
    root = tmp_path_factory.mktemp("desk")
    folder = root / "larkspur"
    second_opening(folder)
    result = check_job(folder)
    assert save_run(result, job_document(result), out=None, pictures=False)[0]
    return root


@pytest.fixture
def desk(checked, tmp_path):
    shutil.copytree(checked, tmp_path / "desk")
    return tmp_path / "desk"


@pytest.fixture
def visit(desk):
    with visited(desk) as client:
        yield client


PAGE = "/job/larkspur/opening/W2"


def decide(visit, **more):
    form = {"do": "decide", "choice": "hold", "by": "Dana", "reason": "asked the crew"} | more
    return visit.post(PAGE, data=form, headers=OWN, follow_redirects=False)


def corner_form(desk, **more):
    sha256 = load_job(desk / "larkspur" / "job.toml").sha256
    corners = (("200", "200"), ("1000", "200"), ("1000", "700"), ("200", "700"))
    points = {f"c{i}{axis}": at[k] for i, at in enumerate(corners) for k, axis in enumerate("xy")}
    return {"do": "corners", "number": "0", "turn": "0", "sha256": sha256} | points | more


def test_the_page_says_verdict_reason_next_step_and_what_probably_slipped(visit):
    page = visit.get(PAGE).text
    assert "stop: ask" in page
    assert "The photo does not support the tape here: width, middle." in page
    assert "<strong>Next:</strong> Do not order." in page
    assert "Measure again: width, middle; then run the check once more." in page
    assert "an inch too long: the tape was started at its 1 in mark" in page
    assert "Please measure again at W2" in page
    assert "50 1/4 in wide, 45 in high" in page
    # The rule's own tolerance (fixtures/demo/rules).
    assert "Band: the tolerance, 1/4 in under or 3/8 in over; diagonals 1/2 in either way." in page


def test_what_the_uncertainty_is_made_of_is_in_the_unit_of_the_job(visit, desk):
    """The oracle: the budget of the result, mm, at 95 % (k = 2), by the inch of 25.4 mm."""
    page = visit.get(PAGE).text
    budget = newest_result(desk / "larkspur").opening("W2")["measures"]["width_middle"]["budget_mm"]
    said = page[page.index("What the uncertainty is made of") :]
    assert f"how sharply the edges are seen: {2 * budget['edge_trace'] / 25.4:.3f} in" in said
    assert " mm" not in said[: said.index("</dl>")]


def test_the_page_needs_nothing_that_its_policy_forbids(visit):
    page = visit.get(PAGE).text
    assert not re.search(r"<script(?![^>]*\bsrc=)|\sstyle=|\son[a-z]+=", page)
    for asset in re.findall(r'(?:src|href)="(/static/[^"]+)"', page):
        assert visit.get(asset).status_code == 200, asset
    assert not re.search(r'(?:src|href)="(?:https?:)?//', page)


def test_sides_stations_and_references_lie_where_the_result_has_them(visit, desk):
    page = visit.get(PAGE).text
    opening = newest_result(desk / "larkspur").opening("W2")
    photo = opening["photos"][0]
    x, y = photo["sides_px"]["head"][0]
    assert f'points="{x},{y} ' in page
    assert page.count("as traced</title>") == 4
    assert all(f"<title>{r['name']}</title>" in page for r in photo["references"])
    # the oracle: exact corners of the rendered photo, at the size of this test
    truth = (np.array(json.loads((DEMO / "w2.truth.json").read_text())["corners_px"]) + 0.5) * 0.6 - 0.5
    drawn = re.findall(r'points="([^"]+)"><title>[^<]*, as traced', page)
    ends = [np.array([p.split(",") for p in line.split()[:: max(1, len(line.split()) - 1)]], float) for line in drawn]
    # a jamb is drawn as far as it is seen: its last piece of a 48th, 12 px, may lie in the sill's shadow
    assert all(np.abs(truth - end).max(1).min() < 2 + 12 for pair in ends for end in (pair[0], pair[-1]))
    assert f"data-found='{json.dumps(photo['corners_px'])}'" in page
    assert np.abs(np.array(photo["corners_px"]) - truth).max() < 2


def test_a_decision_is_kept_with_name_reason_and_the_hash_of_its_inputs(visit, desk):
    answer = decide(visit)
    assert answer.status_code == 303
    assert answer.headers["location"].endswith("#decision")
    kept = read_decisions(desk / "larkspur").decisions
    assert [(d.by, d.decision, d.reason, d.verdict) for d in kept] == [("Dana", "hold", "asked the crew", "hold")]
    assert kept[0].inputs_sha256 == newest_result(desk / "larkspur").opening("W2")["inputs_sha256"]
    assert (kept[0].width_mm, kept[0].height_mm) == (pytest.approx(50.25 * 25.4), pytest.approx(45 * 25.4))
    assert "<strong>Stands:</strong> Dana decided" in visit.get(PAGE).text


@pytest.mark.parametrize(
    ("form", "says"),
    [
        ({"choice": "send", "right": "yes"}, "may not"),
        ({"choice": "override", "risk": "too wide"}, "right opening"),
        ({"choice": "override", "right": "yes"}, "risk"),
        ({"by": " "}, "name"),
        ({"reason": ""}, "reason"),
        ({"choice": "perhaps"}, "choose one"),
        ({"inputs_sha256": "0" * 64}, "check again"),
    ],
)
def test_a_decision_that_the_command_line_would_refuse_is_refused_here(visit, desk, form, says):
    answer = decide(visit, **form)
    assert answer.status_code == 400
    if says != "may not":
        assert says in answer.text
    assert read_decisions(desk / "larkspur").decisions == ()


def test_an_override_of_the_right_opening_with_its_risk_is_recorded(visit, desk):
    assert decide(visit, choice="override", right="yes", risk="it may be too wide").status_code == 303
    assert read_decisions(desk / "larkspur").decisions[0].risk_accepted == "it may be too wide"


@pytest.mark.parametrize("what", ["job.toml", "w2.jpg", "rules/louvered-outside.toml"])
def test_after_a_change_the_decision_is_stale_and_none_can_be_taken_before_a_check(visit, desk, what):
    decide(visit)
    file = desk / "larkspur" / what
    if file.suffix == ".jpg":
        shutil.copy(DEMO / "w3.jpg", file)
    else:
        # the reading itself; elsewhere a comment will do
        file.write_bytes(file.read_bytes().replace(b'top = "48 3/16"', b'top = "48 1/4"') + b"\n# changed\n")
    page = visit.get(PAGE).text
    assert "Stale: Dana decided" in page
    assert "Check again, then decide" in page
    assert decide(visit).status_code == 400


def test_a_comment_in_the_job_file_leaves_a_decision_standing(desk):
    file = desk / "larkspur" / "job.toml"
    file.write_text(file.read_text() + "\n# a remark\n")
    job, found = load_job(file), newest_result(desk / "larkspur").opening("W2")
    assert present_inputs(job, job.openings[0], found) == found["inputs_sha256"]


def test_corners_are_saved_with_the_comments_kept_and_a_check_is_started(visit, desk):
    form = corner_form(desk, c1x="1000.26", c2x="1000", c2y="700", c3y="700")
    answer = visit.post(PAGE, data=form, headers=OWN | {"accept": "application/json"})
    assert answer.status_code == 200
    assert visit.get(f"/run/{answer.json()['run']}").json()["state"] in ("waiting", "running")
    text = (desk / "larkspur" / "job.toml").read_text()
    assert text.startswith("# Invented house")
    assert tomllib.loads(text)["opening"][0]["photos"][0]["corners"] == [
        [200, 200],
        [1000.3, 200],
        [1000, 700],
        [200, 700],
    ]
    assert load_job(desk / "larkspur" / "job.toml").sha256 == answer.json()["sha256"]


def test_a_photo_pointed_at_for_the_first_time_is_compared_with_the_readings_of_all(visit, desk):
    """W2's middle width holds a slip of an inch; the others are as rendered, so it is this opening by its size."""
    file = desk / "larkspur" / "job.toml"
    corners = load_job(file).openings[0].photos[0].corners_px
    text = re.sub(r"photos = \[\{[^\n]*\}\]", 'photos = ["w2.jpg"]', file.read_text())
    file.write_text(text)
    assert load_job(file).openings[0].photos[0].corners_px is None
    points = {f"c{i}{axis}": str(corners[i][k]) for i in range(4) for k, axis in enumerate("xy")}
    asks = {"accept": "application/json"}
    answer = visit.post(PAGE, data=corner_form(desk, **points), headers={**OWN, **asks}).json()
    for run in (answer["run"], answer["then"]):
        while not (state := visit.get(f"/run/{run}").json())["ready"]:
            assert state["state"] != "failed", state
            time.sleep(0.1)
    says = "w2.jpg fits the readings of W2 (probability over 99 %), all but width, middle, as it is given; the check"
    assert says in visit.get(PAGE).text
    again = visit.post(PAGE, data=corner_form(desk, **points), headers={**OWN, **asks}).json()
    assert again["then"] == ""


def test_how_a_photo_fits_is_said_of_the_corners_and_readings_that_are_saved_now(visit, desk):
    """Corners are placed one after the other: the first ones saved may stand on nothing yet."""
    file = desk / "larkspur" / "job.toml"
    corners = load_job(file).openings[0].photos[0].corners_px

    def place(inward: float) -> str:
        points = {f"c{i}{axis}": str(corners[i][k]) for i in range(4) for k, axis in enumerate("xy")}
        points["c0x"] = str(corners[0][0] + inward)
        answer = visit.post(PAGE, data=corner_form(desk, **points, as_clicked="on"), headers={**OWN, **asks}).json()
        runs = [answer["run"], *([answer["then"]] if answer["then"] else [])]
        for run in runs:
            while not (state := visit.get(f"/run/{run}").json())["ready"]:
                assert state["state"] != "failed", state
                time.sleep(0.1)
        return visit.get(PAGE).text

    asks = {"accept": "application/json"}
    assert "w2.jpg fits neither the readings of W2" in place(60)
    right = place(0)
    assert "w2.jpg fits the readings of W2" in right
    assert "fits neither" not in right
    typed = file.read_text()
    assert 'left = "41 15/16"' in typed
    file.write_text(typed.replace('left = "41 15/16"', 'left = "43 15/16"'))
    assert "w2.jpg fits" not in visit.get(PAGE).text
    file.write_text(typed)
    assert "w2.jpg fits the readings of W2" in visit.get(PAGE).text


def test_corners_of_a_photo_that_was_turned_are_saved_with_its_turn(visit, desk):
    points = {
        f"c{i}{axis}": str(v)
        for i, p in enumerate([(9, 9), (800, 9), (800, 900), (9, 900)])
        for axis, v in zip("xy", p, strict=True)
    }
    answer = visit.post(PAGE, data=corner_form(desk, turn="90", **points), headers=OWN, follow_redirects=False)
    assert answer.status_code == 303
    photo = load_job(desk / "larkspur" / "job.toml").openings[0].photos[0]
    assert photo.turn == 90
    assert photo.corners_px.tolist() == [[9, 9], [800, 9], [800, 900], [9, 900]]


def test_corners_out_of_view_stay_so(visit, desk):
    form = corner_form(desk, c0x="", c0y="", c1x="900", c2x="900", c2y="800", c3y="800")
    assert visit.post(PAGE, data=form, headers=OWN, follow_redirects=False).status_code == 303
    corners = load_job(desk / "larkspur" / "job.toml").openings[0].photos[0].corners_px
    assert np.isnan(corners[0]).all()
    assert corners[1:].tolist() == [[900, 200], [900, 800], [200, 800]]
    assert 'name="c0x" inputmode="decimal" size="7" value=""' in visit.get(PAGE).text


@pytest.mark.parametrize(
    ("dragged", "says"),
    [
        ({"c0x": "800", "c0y": "600"}, "bent inward or straight at the top left corner: move that corner"),
        ({"c0x": "1100", "c0y": "200"}, "the sides cross each other"),
    ],
)
def test_a_corner_dragged_too_far_is_refused_in_words_of_the_photo(visit, desk, dragged, says):
    before = (desk / "larkspur" / "job.toml").read_text()
    form = corner_form(desk, **dragged)
    (said,) = visit.post(PAGE, data=form, headers=OWN | {"accept": "application/json"}).json()["problems"]
    assert said.startswith("The corners were not saved: ")
    assert says in said
    assert "where it is in the photo" in said
    assert not any(jargon in said for jargon in ("convex", "opening[", "job.toml", "corners["))
    assert (desk / "larkspur" / "job.toml").read_text() == before


def test_corners_for_a_file_that_changed_since_are_not_saved(visit, desk):
    before = (desk / "larkspur" / "job.toml").read_text()
    form = corner_form(desk, sha256="0" * 64)
    answer = visit.post(PAGE, data=form, headers=OWN | {"accept": "application/json"})
    assert answer.status_code == 409
    assert "changed by someone else" in answer.json()["problems"][0]
    shown = visit.post(PAGE, data=form, headers=OWN)
    assert shown.status_code == 409
    assert "The same with your change" in shown.text
    assert "[[200, 200], [1000, 200], [1000, 700], [200, 700]]" in shown.text
    assert (desk / "larkspur" / "job.toml").read_text() == before


@pytest.mark.parametrize("bad", [{"c1x": "far"}, {"c1x": "nan"}, {"c1x": "inf"}, {"c2y": ""}])
def test_corners_that_are_no_numbers_are_refused_by_their_name(visit, desk, bad):
    answer = visit.post(PAGE, data=corner_form(desk, **bad), headers=OWN | {"accept": "application/json"})
    assert answer.status_code == 400
    assert "corner" in answer.json()["problems"][0]


def test_a_change_that_comes_from_elsewhere_is_refused(visit, desk):
    assert visit.post(PAGE, data={"do": "check"}, headers={"origin": "http://elsewhere.example"}).status_code == 403


def test_labels_and_notes_are_text_whatever_they_hold(visit, desk):
    folder = desk / "odd"
    folder.mkdir()
    (folder / "job.toml").write_text(
        f"""[job]\nid = "x"\nunits = "in"\n[[opening]]\nlabel = '''{HOSTILE}'''\nwall = "masonry"\n"""
        """note = "<script>alert(2)</script>"\n[[opening]]\nlabel = "a/opening/b?c#d"\nwall = "masonry"\n"""
    )
    from urllib.parse import quote

    page = visit.get(f"/job/odd/opening/{quote(HOSTILE, safe='')}").text
    assert "<img src=x" not in page
    assert "<script>alert" not in page
    assert "{{7*7}}" in page
    assert "a/opening/b?c#d" in visit.get(f"/job/odd/opening/{quote('a/opening/b?c#d', safe='')}").text
    assert visit.get("/job/odd/opening/nothing").status_code == 404
    assert visit.get("/job/..%2F..%2Fetc/opening/W1").status_code == 404


def test_pictures_come_from_the_jobs_folder_only(visit, desk):
    assert visit.get("/tile-facts/larkspur?file=w2.jpg&turn=0").json()["size"] == [1229, 922]
    for query in ("file=../x&turn=0", "file=/etc/passwd&turn=0", "file=w2.jpg&turn=7", "turn=0"):
        assert visit.get(f"/tile-facts/larkspur?{query}").status_code in (400, 404)
    assert visit.get("/tiles/larkspur?file=w2.jpg&turn=0&scale=x&column=0&row=0").status_code == 400


def test_a_side_put_on_its_other_line_moves_its_corners_there(visit, desk):
    path = next((desk / "larkspur" / "secondtape").glob("*/result.json"))
    document = json.loads(path.read_text())
    opening = document["jobs"][0]["openings"][0]
    opening["sides"]["sill"]["candidates"] = [
        {"weight": 0.7, "shift_mm": 0.0, "name": "edge"},
        {"weight": 0.29, "shift_mm": -40.0, "name": "edge"},
    ]
    ends = [[300.0, 700.0], [950.0, 690.0]]
    opening["photos"][0]["rivals_px"] = [{"side": "sill", "shift_mm": -40.0, "ends_px": ends}]
    path.write_text(json.dumps(document))
    page = visit.get(PAGE).text
    assert "sill (bottom): which line is meant?" in page
    assert "The line 1 9/16 in further in (29 %)" in page  # 40 mm
    form = {"do": "line", "number": "0", "side": "sill", "shift_mm": "-40.0"}
    sha256 = load_job(desk / "larkspur" / "job.toml").sha256
    assert visit.post(PAGE, data=form | {"sha256": sha256, "shift_mm": "9"}, headers=OWN).status_code == 400
    assert visit.post(PAGE, data=form | {"sha256": sha256}, headers=OWN, follow_redirects=False).status_code == 303
    corners = np.array(load_job(desk / "larkspur" / "job.toml").openings[0].photos[0].corners_px)
    found = np.array(opening["photos"][0]["corners_px"])
    assert np.allclose(corners[:2], found[:2], atol=0.06)
    for x, y in corners[2:]:
        assert y == pytest.approx(700 - 10 * (x - 300) / 650, abs=0.1)


@pytest.mark.parametrize(
    ("where", "what"),
    [
        (("measures",), 3),
        (("readings", 0, "tape_mm"), "<b>"),
        (("photos", 0, "sides_px"), [1]),
        (("photos", 0, "stations_px", "width_top"), [["x"]]),
        (("order",), "<script>"),
        (("tolerance_mm",), {"odd": 1}),
        (("sides",), {"head": {}}),
        (("photos",), None),
    ],
)
def test_a_result_that_no_check_wrote_does_not_take_the_page_down(visit, desk, where, what):
    path = next((desk / "larkspur" / "secondtape").glob("*/result.json"))
    document = json.loads(path.read_text())
    inner = document["jobs"][0]["openings"][0]
    for key in where[:-1]:
        inner = inner[key]
    inner[where[-1]] = what
    path.write_text(json.dumps(document))
    answer = visit.get(PAGE)
    assert answer.status_code == 200
    assert "<script>" not in answer.text.replace('<script type="module"', "")
