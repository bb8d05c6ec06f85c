"""The desk over its real application (Starlette's test client; the server itself in a process of its own)."""

import os
import re
import signal
import socket
import subprocess
import sys
import time

import httpx2
import pytest

from sizing.cli import run
from sizing.desk.folder import DeskFolder
from sizing.errors import InputError
from sizing.exits import Exit
from tests.desk_visit import visited

# Where tests run in the background the interrupt is ignored, and children inherit that.
SERVE = "import signal; signal.signal(signal.SIGINT, signal.default_int_handler); from sizing.cli import main; main()"


@pytest.fixture
def folder(tmp_path):
    for name in ("larch-1", "more/larch-2", "secondtape/no", ".hidden/no"):
        (tmp_path / name).mkdir(parents=True)
        (tmp_path / name / "job.toml").write_text("")
    return tmp_path


def test_jobs_are_folders_with_a_job_file_and_results_are_none(folder):
    assert DeskFolder(folder).jobs() == ("larch-1", "more/larch-2")
    with visited(folder) as client:
        assert "more/larch-2" in client.get("/").text


@pytest.mark.parametrize("name", ["..", "../x", "larch-1/../..", "/etc", "nothing"])
def test_nothing_outside_the_folder_is_a_job(folder, name):
    (folder.parent / "job.toml").write_text("")
    with pytest.raises(InputError, match="no such file"):
        DeskFolder(folder).job(name)


def test_a_link_that_leaves_the_job_is_no_file_of_it(folder):
    (folder / "larch-1" / "out.jpg").symlink_to("/etc/passwd")
    with pytest.raises(InputError):
        DeskFolder(folder).file("larch-1", "out.jpg")


def test_a_page_that_is_not_there_says_so_in_the_desks_own_words(folder):
    with visited(folder) as client:
        answer = client.get("/nothing-here")
    assert answer.status_code == 404
    assert "no such page at this desk" in answer.text


def test_the_command_serves_on_loopback_and_ends_when_interrupted(folder):
    started = subprocess.Popen(
        [sys.executable, "-c", SERVE, "desk", str(folder)],
        stdout=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONUNBUFFERED": "1"},
    )
    try:
        url = re.search(r"http://\S+", started.stdout.readline())[0]
        for _ in range(100):
            try:
                answer = httpx2.get(url, follow_redirects=True, timeout=60)
                break
            except httpx2.ConnectError:
                continue
        assert "larch-1" in answer.text
    finally:
        started.send_signal(signal.SIGINT)
        started.wait(20)
        started.stdout.close()


@pytest.mark.skipif(os.name != "posix", reason="signals as shells send them")
def test_an_upload_that_is_broken_off_leaves_nothing_and_is_no_fault(folder):
    """Found: a page closed while it sent a photo wrote a trace where the desk was started."""
    started = subprocess.Popen(
        [sys.executable, "-c", SERVE, "desk", str(folder)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONUNBUFFERED": "1"},
    )
    try:
        url = re.search(r"http://\S+", started.stdout.readline())[0]
        answer = httpx2.get(url, follow_redirects=False, timeout=60)
        port = httpx2.URL(url).port
        head = (
            f"POST /job/larch-1/photos HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nSec-Fetch-Site: same-origin\r\n"
            f"Cookie: {answer.headers['set-cookie'].split(';')[0]}\r\nContent-Length: 5000000\r\n"
            "Content-Type: multipart/form-data; boundary=x\r\n\r\n--x\r\n"
            'Content-Disposition: form-data; name="photos"; filename="a.jpg"\r\n\r\n'
        )
        with socket.create_connection(("127.0.0.1", port)) as broken:
            broken.sendall(head.encode() + b"z" * 100_000)
        # the next answer comes after the break was seen, or very nearly
        cookie = {"cookie": answer.headers["set-cookie"].split(";")[0]}
        assert httpx2.get(f"http://127.0.0.1:{port}/", headers=cookie, timeout=60).status_code == 200
        time.sleep(0.3)
    finally:
        started.send_signal(signal.SIGINT)
        _, said = started.communicate(timeout=20)
    assert said == "Interrupted.\n"
    assert [p.name for p in (folder / "larch-1").iterdir()] == ["job.toml"]


def test_a_form_of_an_opening_is_of_bounded_size(folder):
    headers = {"sec-fetch-site": "same-origin", "content-type": "application/x-www-form-urlencoded"}
    with visited(folder) as client:
        answer = client.post("/job/larch-1/opening/W1", content=b"do=" + b"x" * 2_000_000, headers=headers)
    assert answer.status_code == 413


def test_a_folder_that_is_none_is_refused_with_its_name(tmp_path, capsys):
    assert run(["desk", str(tmp_path / "nothing")]) == Exit.USAGE
    said = capsys.readouterr()
    assert f"{tmp_path / 'nothing'}: no such folder; name the folder that holds the jobs" in said.err
    assert said.out == ""


def test_a_port_that_another_program_listens_on_is_refused_and_what_to_do_is_said(folder, capsys):
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        assert run(["desk", str(folder), "--port", str(port)]) == Exit.USAGE
    said = capsys.readouterr()
    assert f"port {port} cannot be used (Address already in use); choose another with --port" in said.err
    assert "http://" not in said.out


def test_a_folder_that_is_itself_a_job_goes_by_its_own_name(tmp_path):
    # WHATWG URL: a path's single-dot segment is left out, so that no address could lead to a job named '.'.
    root = tmp_path / "larch-1"
    (root / "larch-1").mkdir(parents=True)
    text = '[job]\nid = "{}"\nunits = "in"\n[[opening]]\nlabel = "W1"\nwall = "masonry"\n'
    (root / "job.toml").write_text(text.format("outer"))
    (root / "larch-1" / "job.toml").write_text(text.format("inner"))
    folder = DeskFolder(root.resolve())
    assert folder.jobs() == ("larch-1", "larch-1-itself")
    assert folder.job("larch-1") == root.resolve() / "larch-1"
    assert folder.job("larch-1-itself") == root.resolve()
    with visited(root) as client:
        assert '<a href="/job/larch-1-itself">outer</a>' in client.get("/").text
        assert "outer" in client.get("/job/larch-1-itself").text
        assert client.get("/job/larch-1-itself/opening/W1").status_code == 200
