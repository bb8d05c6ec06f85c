"""Files taken in and moved aside by the desk: real files, a real limit of their size, and a second file system."""

import io
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest
from starlette.datastructures import UploadFile

from sizing.desk.uploads import keep_photo, move_aside
from sizing.errors import InputError
from tests.desk_jobs import job, served


@pytest.fixture(scope="module")
def desk(tmp_path_factory):
    with served(tmp_path_factory.mktemp("desk")) as client:
        yield client


@pytest.fixture
def elsewhere(tmp_path):
    """A folder on another file system than `tmp_path`: no hard link leads from one to the other."""
    memory = Path("/dev/shm")  # noqa: S108 -- the folder made in it has a name of its own
    if not memory.is_dir() or memory.stat().st_dev == tmp_path.stat().st_dev:
        pytest.skip("no second file system on this machine")
    with tempfile.TemporaryDirectory(dir=memory) as folder:
        yield Path(folder)


def upload(name, content):
    return UploadFile(io.BytesIO(content), filename=name)


def unusable(desk, name, content):
    """A job with a file that is no photo, `notes.jpg`."""
    folder = desk.root / name
    if not folder.exists():
        job(desk, name)
    (folder / "notes.jpg").write_bytes(content)
    return folder


def leave_out(desk, name):
    return desk.post(f"/job/{name}/left-out", data={"photo": "notes.jpg"})


def test_a_second_photo_of_a_name_is_left_out_beside_the_first(desk):
    for content in (b"one " * 500, b"two " * 500):
        folder = unusable(desk, "twice", content)
        assert leave_out(desk, "twice").status_code == 200
    aside = folder / "secondtape" / "left-out"
    assert {p.name: p.read_bytes()[:3] for p in aside.iterdir()} == {"notes.jpg": b"one", "notes-2.jpg": b"two"}
    assert not (folder / "notes.jpg").exists()


def test_a_photo_is_not_moved_through_a_link_out_of_the_job(desk, tmp_path):
    folder = unusable(desk, "linked", b"one " * 500)
    (folder / "secondtape").symlink_to(tmp_path)
    answer = leave_out(desk, "linked")
    assert answer.status_code == 400
    assert "secondtape/left-out is a link; make it a folder" in answer.text
    assert (folder / "notes.jpg").exists()
    assert list(tmp_path.iterdir()) == []


def test_a_photo_stays_where_a_file_is_in_the_way_of_the_folder_for_it(desk):
    folder = unusable(desk, "in-the-way", b"one " * 500)
    (folder / "secondtape").mkdir()
    (folder / "secondtape" / "left-out").write_text("a file")
    answer = leave_out(desk, "in-the-way")
    assert answer.status_code == 400
    assert "notes.jpg: cannot be moved out of the way: File exists" in answer.text
    assert (folder / "notes.jpg").exists()


def test_where_all_names_are_taken_nothing_is_kept_or_moved(tmp_path, monkeypatch):
    monkeypatch.setattr("sizing.desk.uploads._MOST_NAMES", 3)
    for i in range(2):
        keep_photo(tmp_path, upload("a.jpg", b"%d" % i))
    with pytest.raises(InputError, match="too many files of this name"):
        keep_photo(tmp_path, upload("a.jpg", b"another"))
    assert {p.name: p.read_bytes() for p in tmp_path.iterdir()} == {"a.jpg": b"0", "a-2.jpg": b"1"}
    for i in range(2):
        (tmp_path / "b.jpg").write_bytes(b"%d" % i)
        move_aside(tmp_path / "b.jpg", tmp_path, "aside")
    (tmp_path / "b.jpg").write_bytes(b"third")
    with pytest.raises(InputError, match="too many files of this name"):
        move_aside(tmp_path / "b.jpg", tmp_path, "aside")
    assert (tmp_path / "b.jpg").read_bytes() == b"third"
    assert {p.read_bytes() for p in (tmp_path / "aside").iterdir()} == {b"0", b"1"}


def test_a_link_of_the_same_name_and_content_is_not_taken_for_the_photo(tmp_path):
    folder = tmp_path / "job"
    folder.mkdir()
    (tmp_path / "outside.jpg").write_bytes(b"same")
    (folder / "a.jpg").symlink_to(tmp_path / "outside.jpg")
    kept = keep_photo(folder, upload("a.jpg", b"same"))
    assert (kept.name, kept.known) == ("a-2.jpg", False)
    assert keep_photo(folder, upload("a.jpg", b"same")).known


def test_a_file_is_moved_to_another_file_system_whole_and_never_over_one(tmp_path, elsewhere):
    for content in (b"one " * 700_000, b"two"):
        (tmp_path / "a.jpg").write_bytes(content)
        move_aside(tmp_path / "a.jpg", elsewhere, "left-out")
        assert not (tmp_path / "a.jpg").exists()
    assert (elsewhere / "left-out" / "a.jpg").read_bytes() == b"one " * 700_000
    assert (elsewhere / "left-out" / "a-2.jpg").read_bytes() == b"two"


# No file of the process may grow beyond 3000 bytes: a disk that is full, for a process of its own.
LIMITED = """
import io, resource, sys
from pathlib import Path
from starlette.datastructures import UploadFile
from sizing.desk.uploads import keep_photo, move_aside
from sizing.errors import InputError
kept = resource.getrlimit(resource.RLIMIT_FSIZE)
resource.setrlimit(resource.RLIMIT_FSIZE, (3000, kept[1]))
folder, below = map(Path, sys.argv[1:])
try:
    if folder == below:
        keep_photo(folder, UploadFile(io.BytesIO(b"x" * 5000), filename="a.jpg"))
    else:
        move_aside(folder / "a.jpg", below, "left-out")
except InputError as error:
    print(error)
resource.setrlimit(resource.RLIMIT_FSIZE, kept)
"""


def limited(folder, below):
    pytest.importorskip("resource", reason="this system knows no such limit")
    command = [sys.executable, "-c", LIMITED, str(folder), str(below)]
    return subprocess.run(command, capture_output=True, text=True, timeout=60, check=True).stdout


def test_of_a_photo_that_does_not_fit_on_the_disk_nothing_is_left(tmp_path):
    assert "a.jpg: cannot be kept: File too large" in limited(tmp_path, tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_of_a_file_that_does_not_fit_where_it_is_moved_to_nothing_is_left_there(tmp_path, elsewhere):
    (tmp_path / "a.jpg").write_bytes(b"x" * 5000)
    assert "a.jpg: cannot be moved out of the way: File too large" in limited(tmp_path, elsewhere)
    assert list((elsewhere / "left-out").iterdir()) == []
    assert (tmp_path / "a.jpg").read_bytes() == b"x" * 5000


def test_a_photo_for_a_folder_that_is_gone_is_refused_by_its_name(tmp_path):
    with pytest.raises(InputError) as refused:
        keep_photo(tmp_path / "gone", upload("a.jpg", b"anything"))
    assert "cannot be kept" in refused.value.problems[0].says
    assert refused.value.problems[0].where == "a.jpg"
