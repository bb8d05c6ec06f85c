"""Files of a release: whole, never written twice, and those of others left alone. Oracle: contract.md, *Decision*."""

import hashlib
import json

import pytest

from sizing.check import check_job
from sizing.commands.release import sent_by_name
from sizing.release.handover import hand_over
from sizing.release.release import plan_release
from sizing.release.written import SCHEMA
from sizing.runs.runfolder import RunFolderError
from tests.desk_visit import visited
from tests.test_release import HEAD, measured, opening


@pytest.fixture
def release(tmp_path):
    (tmp_path / "w1.jpg").write_bytes(b"x" * 2000)
    (tmp_path / "job.toml").write_text(HEAD + opening() + opening("W2", middle="55 3/8"))
    return plan_release(sent_by_name(check_job(tmp_path, estimator=measured), ["W1"], "A. Desk", "as checked"))


def handed(release, folder, out=None):
    when = "2026-05-04T12:30:00+00:00"
    return hand_over(release, folder, out=out, released_at=when, program="secondtape 0", paper="a4")


def test_the_same_release_is_there_once_and_comes_back_as_it_was_written(release, tmp_path):
    document, target, before = handed(release, tmp_path)
    assert not before
    assert {p.name for p in target.iterdir()} == {"release.json", "release.csv", "release.pdf"}
    again, there, before = handed(release, tmp_path)
    assert (before, there) == (True, target)
    assert again["released_at"] == document["released_at"]


@pytest.mark.parametrize("content", ["no json", "{}", f'{{"schema": "{SCHEMA}", "release": "other"}}'])
def test_a_folder_of_that_name_that_holds_something_else_is_left_as_it_is(release, tmp_path, content):
    _, target, _ = handed(release, tmp_path)
    (target / "release.json").write_text(content)
    with pytest.raises(RunFolderError, match=target.name):
        handed(release, tmp_path)
    assert (target / "release.json").read_text() == content


@pytest.mark.parametrize(
    "change", [{"width_mm": 1000.0}, {"width": "99 in"}, {"quantity": 7}, {"decided_by": "B. Desk"}]
)
def test_a_release_changed_by_hand_is_not_said_to_be_the_one_that_was_released(release, tmp_path, change):
    """Found: only its number was looked at, and the sizes written into it were said as released."""
    _, target, _ = handed(release, tmp_path)
    document = json.loads((target / "release.json").read_text())
    document["released"][0] |= change
    for changed in (document, document | {"released": [3]}, document | {"released": [], "not_released": 3}):
        (target / "release.json").write_text(json.dumps(changed))
        with pytest.raises(RunFolderError, match="holds something else than this release"):
            handed(release, tmp_path)


def test_a_release_names_its_files_by_their_hash(release, tmp_path):
    document, target, _ = handed(release, tmp_path)
    names = ("release.csv", "release.pdf")
    assert document["files"] == {n: hashlib.sha256((target / n).read_bytes()).hexdigest() for n in names}
    assert json.loads((target / "release.json").read_text())["files"] == document["files"]


@pytest.mark.parametrize("name", ["release.csv", "release.pdf"])
@pytest.mark.parametrize("change", ["edited", "gone", "a folder"])
def test_a_file_of_a_release_that_was_changed_since_is_named_and_nothing_is_said_to_be_released(
    release, tmp_path, name, change
):
    """Found: only the JSON was looked at, and an edited CSV was handed over as released before."""
    _, target, _ = handed(release, tmp_path)
    data = (target / name).read_bytes()
    (target / name).unlink()
    if change == "edited":
        (target / name).write_bytes(data.replace(b"1", b"7", 1))
    elif change == "a folder":
        (target / name).mkdir()
    with pytest.raises(RunFolderError, match=rf"{name} was changed or lost .* move that folder away, and"):
        handed(release, tmp_path)
    target.rename(tmp_path / "away")
    _, there, before = handed(release, tmp_path)
    assert (there, before, (there / name).is_file()) == (target, False, True)


def test_a_release_of_before_its_files_were_named_comes_back(release, tmp_path):
    document, target, _ = handed(release, tmp_path)
    del document["files"]
    (target / "release.json").write_text(json.dumps(document))
    (target / "release.csv").write_text("other")
    assert handed(release, tmp_path)[2]


def test_the_desk_says_that_a_file_was_changed_and_does_not_send_it(release, tmp_path):
    _, target, _ = handed(release, tmp_path)
    at = f"/job/{tmp_path.name}/release"
    with visited(tmp_path.parent) as visit:
        assert visit.get(f"{at}/{release.number}/release.csv").status_code == 200
        assert "Order nothing by it" not in visit.get(at).text
        (target / "release.csv").write_text("other")
        answer = visit.get(f"{at}/{release.number}/release.csv")
        assert answer.status_code == 400
        assert "release.csv was changed or lost after the release was written" in answer.text
        assert visit.get(f"{at}/{release.number}/release.pdf").status_code == 200
        assert "Order nothing by it" in visit.get(at).text


LINE = dict.fromkeys(("opening", "quantity", "width", "height", "released_by", "decided_by", "reason"), "x")


@pytest.mark.parametrize(
    "change",
    [
        {"released": 3},
        {"released": [{}]},
        {"released": [LINE | {"notes": 5}]},
        {"not_released": None},
        {"released_at": 7},
        {"files": 3},
        {"files": {}},
    ],
)
def test_a_release_of_another_form_is_no_fault_of_the_desk(release, tmp_path, change):
    """Found: a release written by hand ended the page with status 500."""
    document, target, _ = handed(release, tmp_path)
    (target / "release.json").write_text(json.dumps(document | change))
    with visited(tmp_path.parent) as visit:
        assert visit.get(f"/job/{tmp_path.name}/release").status_code == 200


def test_earlier_releases_of_this_job_are_named_and_those_of_others_are_not(release, tmp_path):
    out, lines = tmp_path / "out", [{"opening": "W1"}, "odd"]
    earlier = {
        "mine": {"schema": SCHEMA, "job": "harbor-114", "release": "aa", "released": lines},
        "odd": {"schema": SCHEMA, "job": "harbor-114", "release": "bb", "released": 3},
        "other": {"schema": SCHEMA, "job": "larch-1", "release": "cc", "released": lines},
        # a write that was killed leaves its hidden folder: nothing was handed over
        ".release-dd-x1": {"schema": SCHEMA, "job": "harbor-114", "release": "dd", "released": lines},
    }
    for name, document in earlier.items():
        (out / name).mkdir(parents=True)
        (out / name / "release.json").write_text(json.dumps(document))
    document, target, _ = handed(release, tmp_path, out)
    assert target.parent == out
    said = json.dumps(document)
    assert '"aa"' in said
    assert '"bb"' not in said
    assert '"cc"' not in said
    assert '"dd"' not in said


def test_where_nothing_is_released_no_file_is_written(tmp_path):
    (tmp_path / "job.toml").write_text(HEAD + opening(photos="[]"))
    document, target, before = handed(plan_release(check_job(tmp_path)), tmp_path)
    assert (target, before, document["released"]) == (None, False, [])
    assert not (tmp_path / "secondtape").exists()
