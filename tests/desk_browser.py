"""A desk served from a copy of the demo, and a headless Chromium before it; for tests marked `browser`."""

import os
import re
import shutil
import signal
import subprocess
import sys
from contextlib import contextmanager
from pathlib import Path

import pytest

DEMO = Path(__file__).parent.parent / "fixtures" / "demo"
# Where tests run in the background the interrupt is ignored, and children inherit that.
SERVE = "import signal; signal.signal(signal.SIGINT, signal.default_int_handler); from sizing.cli import main; main()"
FLAGS = [
    "--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update", "--disable-sync",
    "--no-first-run",
]  # fmt: skip


def chromium():
    """Return the path of a Chromium of this system, and Playwright; skip the test where one is missing."""
    sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed: pip install playwright")
    found = shutil.which("chromium") or shutil.which("chromium-browser")
    if found is None:
        pytest.skip("no chromium on this machine: apt-get install chromium")
    return found, sync_api


@contextmanager
def served(folder):
    """Serve a folder by the real command; give the first address."""
    started = subprocess.Popen(
        [sys.executable, "-c", SERVE, "desk", str(folder)],
        stdout=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONUNBUFFERED": "1", "OPENBLAS_NUM_THREADS": "1"},
    )
    try:
        found = re.search(r"http://\S+", started.stdout.readline())
        assert found, "the desk printed no address"
        yield found[0]
    finally:
        started.send_signal(signal.SIGINT)
        started.wait(30)
        started.stdout.close()


@contextmanager
def visiting(folder, **context):
    """Give a page of a browser that stands at the desk of a folder; it fails on errors in the page's scripts."""
    path, sync_api = chromium()
    with served(folder) as url, sync_api.sync_playwright() as player:
        browser = player.chromium.launch(executable_path=path, args=FLAGS)
        try:
            page = browser.new_context(viewport={"width": 1200, "height": 900}, **context).new_page()
            faults = []
            page.on("pageerror", lambda error: faults.append(str(error)))
            page.on("console", lambda said: faults.append(said.text) if "Content Security" in said.text else None)
            page.goto(url)
            yield page
            assert faults == []
        finally:
            browser.close()


def copy_of_demo(folder):
    """Copy the demo job into `folder`/demo without earlier results; return `folder`."""
    shutil.copytree(DEMO, folder / "demo", ignore=shutil.ignore_patterns("secondtape"))
    return folder
