"""Lines added to a file: whole or not at all. Oracle: POSIX, setrlimit (a limit of file size is a full disk)."""

import signal

import pytest

from sizing.release.appending import append_line


def test_lines_are_numbered_and_one_without_its_end_is_ended_first(tmp_path):
    file = tmp_path / "lines"
    assert append_line(file, b"one") == 1
    file.write_bytes(file.read_bytes() + b"half of a")
    assert append_line(file, b"three") == 3
    assert file.read_bytes() == b"one\nhalf of a\nthree\n"


def test_a_full_disk_leaves_no_half_of_a_line(tmp_path):
    resource = pytest.importorskip("resource", reason="no such limits on this system")
    file = tmp_path / "lines"
    append_line(file, b"one")
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    heard = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (10, hard))
    try:
        with pytest.raises(OSError, match="too large"):
            append_line(file, b"a line that has no room")
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
        signal.signal(signal.SIGXFSZ, heard)
    assert file.read_bytes() == b"one\n"


def test_a_link_is_not_written_through(tmp_path):
    (tmp_path / "aim").write_bytes(b"")
    (tmp_path / "link").symlink_to(tmp_path / "aim")
    with pytest.raises(OSError, match="symbolic link"):
        append_line(tmp_path / "link", b"one")
    assert (tmp_path / "aim").read_bytes() == b""
