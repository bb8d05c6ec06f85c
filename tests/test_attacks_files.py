"""Facts about pipes, devices and links where a file should lie. Oracle: contract.md, *Job file*: regular files only.

Everything here would wait for ever, or fill the memory, where a file is opened before it is looked at.
"""

import os

import pytest

from sizing.desk.intake_release import releases
from sizing.desk.listing import listed
from sizing.desk.results import file_sha256, newest_result
from sizing.errors import InputError
from sizing.jobs.writer import read_text
from sizing.log.record import read_document
from sizing.pictures.blanking import read_blanks
from sizing.regularfile import regular_bytes, regular_sha256
from tests.desk_visit import visited

JOB = '[job]\nid = "harbor-114"\nunits = "in"\n[[opening]]\nlabel = "W1"\nwall = "masonry"\n'

pytestmark = pytest.mark.skipif(os.name != "posix", reason="pipes and devices as POSIX has them")


def pipe(path):
    os.mkfifo(path)


def device(path):
    path.symlink_to("/dev/zero")


def loop(path):
    path.symlink_to(path.name)


KINDS = {f.__name__: f for f in (pipe, device, loop, os.mkdir)}


@pytest.fixture(params=KINDS.values(), ids=KINDS)
def no_file(request):
    return request.param


def job(folder):
    (folder / "job.toml").write_text(JOB)
    run = folder / "secondtape" / "run"
    run.mkdir(parents=True)
    return run


def test_what_is_no_regular_file_is_refused_at_once(tmp_path, no_file):
    no_file(tmp_path / "x")
    with pytest.raises(OSError, match=r"no regular file|symbolic links|directory"):
        regular_bytes(tmp_path / "x", 10)
    assert regular_sha256(tmp_path / "x") == ""
    assert file_sha256(tmp_path / "x") == ""
    with pytest.raises(InputError):
        read_text(tmp_path / "x")


def test_a_file_of_the_largest_size_is_read_and_a_larger_one_is_not(tmp_path):
    (tmp_path / "x").write_bytes(b"0123456789")
    assert regular_bytes(tmp_path / "x", 10) == b"0123456789"
    with pytest.raises(OSError, match="over 9 bytes"):
        regular_bytes(tmp_path / "x", 9)
    with pytest.raises(OSError, match="no name of a file"):
        regular_bytes(tmp_path / "a\0b", 9)


def test_a_result_that_is_no_file_is_no_result(tmp_path, no_file):
    no_file(job(tmp_path) / "result.json")
    assert listed(tmp_path, "j").shown == "unchecked"
    assert newest_result(tmp_path) is None
    with pytest.raises(InputError):
        read_document(tmp_path / "secondtape" / "run")


def test_a_result_that_a_killed_check_left_unfinished_is_no_result(tmp_path):
    run = job(tmp_path)
    hidden = run.rename(run.with_name(".run-x1"))
    (hidden / "result.json").write_text('{"jobs": [{"verdict": "send", "openings": []}]}')
    assert listed(tmp_path, "j").shown == "unchecked"
    assert newest_result(tmp_path) is None


def test_a_release_that_is_no_file_is_no_release(tmp_path, no_file):
    job(tmp_path)
    (tmp_path / "secondtape" / "release-1").mkdir()
    no_file(tmp_path / "secondtape" / "release-1" / "release.json")
    assert releases(tmp_path) == []


def test_blanks_that_are_no_file_are_refused(tmp_path, no_file):
    if no_file is loop:  # leads nowhere: as if it were not there
        return
    no_file(tmp_path / "blank.toml")
    with pytest.raises(InputError):
        read_blanks(tmp_path)


def test_a_result_that_names_a_device_as_its_photo_does_not_fill_the_memory(tmp_path):
    opening = (
        '{"label": "W1", "verdict": "send", "photos": [{"file": "/dev/zero", "sha256": "x"}, {"file": "a\\u0000"}]}'
    )
    run = job(tmp_path)
    (run / "result.json").write_text(f'{{"jobs": [{{"verdict": "send", "openings": [{opening}]}}]}}')
    assert listed(tmp_path, "j").shown == "changed"
    assert "/dev/zero" in newest_result(tmp_path).changed


def test_the_desk_lists_jobs_with_no_file_for_a_result(tmp_path, no_file):
    (tmp_path / "larch-1").mkdir()
    no_file(job(tmp_path / "larch-1") / "result.json")
    with visited(tmp_path) as client:
        assert "larch-1" in client.get("/").text
        assert client.get("/job/larch-1").status_code == 200


@pytest.mark.parametrize("photos", ["5", "[5]", '[{"file": 5}]', "{}", "null"])
def test_a_result_of_another_form_is_none_and_the_page_of_the_job_stands(tmp_path, photos):
    (tmp_path / "larch-1").mkdir()
    opening = f'{{"label": "W1", "verdict": "send", "photos": {photos}}}'
    (job(tmp_path / "larch-1") / "result.json").write_text(f'{{"jobs": [{{"openings": [{opening}]}}]}}')
    with visited(tmp_path) as client:
        assert client.get("/job/larch-1").status_code == 200


@pytest.mark.parametrize("name", ["loop", "%00", "y" * 5000])
def test_a_job_that_can_have_no_folder_is_no_page_and_no_fault(tmp_path, name):
    loop(tmp_path / "loop")
    (tmp_path / os.fsdecode(b"not-utf8-\xff")).mkdir()
    job(tmp_path / os.fsdecode(b"not-utf8-\xff"))
    with visited(tmp_path) as client:
        assert client.get("/").status_code == 200
        assert client.get(f"/job/{name}").status_code == 404
