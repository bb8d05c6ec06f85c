"""What a check leaves in its job's folder. Oracle: contract.md, *Commands*: a folder of its own, nothing else."""

import json
from functools import partial
from pathlib import Path

import pytest

from sizing.check import check_job
from sizing.messages.written_files import picture_failed
from sizing.result.document import job_document
from sizing.runs.runfolder import run_id, safe_name, write_run
from sizing.saving import save_run
from sizing.terminal import job_text
from tests.one_opening import job_in, measured, opening
from vision.errors import PhotoError


@pytest.fixture
def job(tmp_path):
    return partial(job_in, tmp_path)


def test_a_run_is_written_into_its_own_folder_and_nothing_else_changes(job):
    folder = job(opening())
    before = {p: p.read_bytes() for p in folder.iterdir()}
    result = check_job(folder, estimator=measured())
    saved, warnings = save_run(result, job_document(result), out=None, pictures=False)
    assert not warnings
    assert saved.parent == folder.resolve() / "secondtape"
    assert len(saved.name) == 12
    assert [p.name for p in saved.parent.iterdir()] == [saved.name]
    assert json.loads((saved / "result.json").read_text())["jobs"][0]["verdict"] == "send"
    assert {p: p.read_bytes() for p in folder.iterdir() if p.is_file()} == before
    again, _ = save_run(result, job_document(result), out=None, pictures=False)
    assert again == saved


def test_other_inputs_give_another_run_and_the_earlier_stays(job):
    folder = job(opening())
    first, _ = save_run(r := check_job(folder, estimator=measured()), job_document(r), out=None, pictures=False)
    job(opening(middle="54 1/2"))
    second, _ = save_run(r := check_job(folder, estimator=measured()), job_document(r), out=None, pictures=False)
    assert first != second
    assert first.exists()


def test_where_nothing_can_be_written_the_verdict_stands(job):
    folder = job(opening())
    (folder / "secondtape").write_text("in the way")
    result = check_job(folder, estimator=measured())
    saved, warnings = save_run(result, job_document(result), out=None, pictures=False)
    assert saved is None
    assert "the verdict stands" in warnings[0]
    assert (folder / "secondtape").read_text() == "in the way"


def test_a_job_that_was_moved_away_while_it_was_checked_is_not_made_anew(job):
    folder = job(opening()).resolve()
    result = check_job(folder, estimator=measured())
    folder.rename(folder.with_name("moved"))
    saved, (warning,) = save_run(result, job_document(result), out=None, pictures=True)
    assert saved is None
    assert warning.startswith(f"{folder} is gone, or was moved")
    assert not folder.exists()


def test_a_first_run_that_fails_leaves_no_empty_folder_in_the_job(tmp_path):
    def fails(path):
        raise OSError(28, "No space left on device")

    with pytest.raises(OSError, match="No space left"):
        write_run(tmp_path / "secondtape" / "run", [("a", fails)], beside_job=True)
    assert not list(tmp_path.iterdir())


def test_what_is_said_of_a_place_steers_no_terminal_and_keeps_its_spaces(job):
    """Source: ECMA-48 (control characters); a path is there to be copied, double spaces too."""
    result = check_job(job(opening()), estimator=measured())
    text = job_text(result, Path("oak  st\n\x1b[31mred") / "secondtape")
    assert "\n  Pictures and result.json: oak  st ?[31mred/secondtape\n" in text


def test_a_picture_of_a_photo_that_is_gone_says_so_without_a_name_of_the_code():
    gone = PhotoError("photo-missing", "w1.jpg: no such file; copy it there")
    assert picture_failed("w1.jpg", gone).startswith("w1.jpg could not be drawn (w1.jpg: no such file")


def test_a_link_is_not_followed_when_writing(job, tmp_path_factory):
    folder, elsewhere = job(opening()), tmp_path_factory.mktemp("elsewhere")
    (folder / "secondtape").symlink_to(elsewhere)
    result = check_job(folder, estimator=measured())
    saved, warnings = save_run(result, job_document(result), out=None, pictures=False)
    assert saved is None
    assert "--out" in warnings[0]
    assert not list(elsewhere.iterdir())


def test_a_run_that_fails_half_way_leaves_nothing(tmp_path):
    def fails(path):
        path.write_text("half")
        raise OSError(28, "No space left on device")

    with pytest.raises(OSError, match="No space left on device; make room, or name another folder with --out DIR"):
        write_run(tmp_path / "run", [("a", fails)])
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("label", ["../../etc", "a/b", "W 1", "con:aux", "", "é", "x" * 300, ".."])
def test_any_label_makes_a_safe_file_name(label):
    name = safe_name(label)
    assert name == Path(name).name
    assert name.isascii()
    assert 0 < len(name) < 80
    assert not name.startswith(".")


def test_labels_that_differ_keep_different_names():
    assert safe_name("a/b") != safe_name("a-b")
    assert run_id("a", ["b"], "1") != run_id("a", ["c"], "1")
