"""Job files changed in place: with real files, real processes, and `tomllib` (the standard library) as the judge."""

import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
import tomlkit
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sizing.errors import InputError
from sizing.jobs import edits as jobedits
from sizing.jobs.edits_of_photos import set_corners, set_photos, set_reference_corners
from sizing.jobs.file import load_job
from sizing.jobs.writer import ChangedUnderneath, create, read_text, save

DEMO = Path(__file__).parent.parent / "fixtures" / "demo"
SAVES = """
import sys
from pathlib import Path
from sizing.jobs import edits as jobedits
from sizing.jobs.writer import save
file, name = Path(sys.argv[1]), sys.argv[2]
def edit(document):
    extra = jobedits.job_table(document).setdefault("extra", {})
    jobedits.set_facts(extra, {name: f"{extra.get(name, '')}."})
for _ in range(100):
    save(file, edit, named=[("job", "extra", name)])
"""


@pytest.fixture
def file(tmp_path):
    shutil.copytree(DEMO, tmp_path / "demo", ignore=shutil.ignore_patterns("secondtape"))
    return tmp_path / "demo" / "job.toml"


W1 = [("opening", "W1", key) for key in ("width", "height", "diagonal", "photos", "quantity", "rule", "note")]


def edit_w1(**readings):
    def edit(document):
        jobedits.set_readings(jobedits.opening_table(document, "W1"), readings)

    return edit


def test_a_change_leaves_every_other_line_as_it_was(file):
    before = file.read_text().splitlines()
    save(file, edit_w1(width={"top": "35 7/8"}), named=W1)
    after = file.read_text().splitlines()
    assert [(a, b) for a, b in zip(before, after, strict=True) if a != b] == [('top = "35 13/16"', 'top = "35 7/8"')]


def test_comments_stay_wherever_they_stand(file):
    text = file.read_text().replace("[opening.width]", "# before the widths\n[opening.width] # beside\n# below", 1)
    file.write_text(text)

    def edit(document):
        table = jobedits.opening_table(document, "W1")
        jobedits.set_facts(table, {"quantity": 2, "rule": "", "note": "# no comment"})
        jobedits.set_readings(table, {"diagonal": {"down": "", "up": ""}})
        jobedits.add_visit(table, "crew 5", None, "", {"width": {"middle": "36 1/16"}})

    save(file, edit, named=W1)
    kept = file.read_text()
    assert "# before the widths" in kept
    assert "[opening.width] # beside\n# below" in kept
    assert "# Invented house" in kept
    opening = tomllib.loads(kept)["opening"][0]
    assert (opening["quantity"], opening["note"]) == (2, "# no comment")
    assert "rule" not in opening
    assert "diagonal" not in opening
    assert {r.name: r.length.as_written for r in load_job(file).openings[0].readings}["width_middle"] == "36 1/16"


def test_an_earlier_reading_stays_on_record_when_a_visit_replaces_it(file):
    save(
        file,
        lambda d: jobedits.add_visit(jobedits.opening_table(d, "W2"), "crew 5", None, "", {"width": {"middle": "48"}}),
    )
    superseded = load_job(file).openings[1].superseded
    assert [r.length.as_written for r in superseded] == ["49¼"]


def test_photos_keep_what_is_told_of_them_and_corners_go_in_where_they_belong(file):
    corners = [[1.04, 2], [300, 4], [299.96, 500], [2, 501]]

    def edit(document):
        table = jobedits.opening_table(document, "W1")
        set_photos(table, ["w2.jpg", "w1.jpg"])
        set_corners(table, "w2.jpg", corners, trace=False)
        set_reference_corners(table, "w2.jpg", [corners])

    save(file, edit, named=W1)
    first, second = tomllib.loads(file.read_text())["opening"][0]["photos"]
    assert second == {"file": "w1.jpg", "corners": [[592, 223], [1478, 230], [1457, 1361], [581, 1340]]}
    assert first["corners"] == [[1, 2], [300, 4], [300, 500], [2, 501]]
    assert first["trace"] is False
    assert first["reference_corners"] == [[[1, 2], [300, 4], [300, 500], [2, 501]]]
    entry = load_job(file).openings[0].photos[0]
    assert entry.error is None
    assert not entry.trace


def test_what_would_be_no_job_is_refused_with_its_key_and_the_file_stays(file):
    before = file.read_bytes()
    with pytest.raises(InputError, match=r"job.toml: opening\[0\] .W1..width.top") as caught:
        save(file, edit_w1(width={"top": "54 3/7"}), named=W1)
    assert "no tape is divided" in str(caught.value)
    with pytest.raises(InputError, match="no such opening"):
        save(file, lambda d: jobedits.set_facts(jobedits.opening_table(d, "W9"), {"note": "x"}))
    assert file.read_bytes() == before
    assert {p.name for p in file.parent.iterdir() if p.name.startswith(".job")} == {".job.lock"}


def test_a_file_changed_underneath_is_left_and_both_versions_are_handed_back(file):
    read = read_text(file)
    save(file, edit_w1(width={"bottom": "36 3/8"}), named=W1)
    with pytest.raises(ChangedUnderneath) as caught:
        save(file, edit_w1(width={"top": "35 7/8"}), named=W1, read_sha256=read.sha256)
    assert "36 3/8" in caught.value.on_disk.text
    assert "35 7/8" not in file.read_text()
    wanted = tomllib.loads(caught.value.wanted)["opening"][0]["width"]
    assert (wanted["top"], wanted["bottom"]) == ("35 7/8", "36 3/8")
    save(file, edit_w1(width={"top": "35 7/8"}), named=W1, read_sha256=caught.value.on_disk.sha256)
    assert file.read_text() == caught.value.wanted


def test_of_200_saves_by_two_processes_none_is_lost(tmp_path):
    file = tmp_path / "job.toml"
    file.write_text('[job]\nid = "larch-1"\nunits = "in"\n[[opening]]\nlabel = "W1"\nwall = "masonry"\n')
    two = [subprocess.Popen([sys.executable, "-c", SAVES, str(file), name]) for name in "ab"]
    assert [p.wait(100) for p in two] == [0, 0]
    kept = tomllib.loads(file.read_text())["job"]["extra"]
    assert kept == dict.fromkeys("ab", 100 * ".")


def test_a_new_job_is_written_and_never_over_another(tmp_path):
    document = jobedits.new_job({"id": "larch-1", "units": "in", "note": ""}, ["W1", "W2"], "masonry")
    create(tmp_path / "larch-1", document)
    job = load_job(tmp_path / "larch-1")
    assert [o.label for o in job.openings] == ["W1", "W2"]
    with pytest.raises(InputError, match="choose another"):
        create(tmp_path / "larch-1", document)
    with pytest.raises(InputError, match="2 openings have this label"):
        create(tmp_path / "twice", jobedits.new_job({"id": "x", "units": "in"}, ["W1", "W1"], "masonry"))
    assert not (tmp_path / "twice" / "job.toml").exists()


def test_a_link_is_not_written_through(file, tmp_path):
    aim = tmp_path / "aim.toml"
    aim.write_text(file.read_text())
    file.unlink()
    file.symlink_to(aim)
    before = aim.read_text()
    with pytest.raises(InputError, match="link"):
        save(file, edit_w1(width={"top": "35 7/8"}), named=W1)
    assert aim.read_text() == before


@settings(deadline=None, max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.text(max_size=40), st.text(max_size=40))
def test_any_text_goes_in_as_text_and_nothing_else_changes(note, by):
    text = (DEMO / "job.toml").read_text()
    document = tomlkit.parse(text)
    jobedits.set_facts(jobedits.opening_table(document, "W3"), {"note": note})
    jobedits.set_facts(jobedits.job_table(document), {"measured_by": by})
    now, was = tomllib.loads(tomlkit.dumps(document)), tomllib.loads(text)
    assert now["opening"][2].pop("note", "") == note
    assert now["job"].pop("measured_by", "") == by
    was["opening"][2].pop("note")
    was["job"].pop("measured_by")
    assert now == was


@pytest.mark.parametrize("fault", [ValueError("x"), AttributeError("x"), RecursionError(), KeyError("x")])
def test_what_a_way_of_writing_brings_about_is_one_clear_line_and_the_file_stays(file, fault):
    before = file.read_bytes()

    def edit(document):
        document["job"]["note"] = "half done"
        raise fault

    with pytest.raises(InputError, match=r"job.toml: is written in a way that the desk cannot change safely") as caught:
        save(file, edit)
    assert len(caught.value.problems) == 1
    assert file.read_bytes() == before


def test_facts_of_a_file_without_a_job_are_refused_by_name(tmp_path):
    file = tmp_path / "job.toml"
    file.write_text('[[opening]]\nlabel = "W1"\nwall = "masonry"\n')
    with pytest.raises(InputError, match=r"job: the file has no table \[job\]"):
        save(file, lambda d: jobedits.set_facts(jobedits.job_table(d), {"note": "x"}))
