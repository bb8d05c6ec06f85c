"""Files that who runs the program may not read. Oracles: POSIX file modes; contract.md, *Commands*: 4, one line each.

Root may read all: there the program runs without that right (capabilities(7), CAP_DAC_OVERRIDE).
"""

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from sizing.exits import Exit

ROOT = Path(__file__).parent.parent
RIGHTS = "-dac_override,-dac_read_search"
JOB = '[job]\nid = "{id}"\nunits = "in"\n[[opening]]\nlabel = "W1"\nwall = "masonry"\n'
PHOTO_AND_RULE = 'photos = ["p.jpg"]\nrule = "r"\n'
READINGS = 'width = { top = "54", middle = "54", bottom = "54" }\n'

pytestmark = pytest.mark.skipif(os.name != "posix", reason="modes of files as POSIX has them")


@pytest.fixture
def ran(tmp_path):
    """Return a function that runs the program in a folder of two jobs; give back their rights afterwards."""
    lead = []
    if os.geteuid() == 0:
        if shutil.which("setpriv") is None:
            pytest.skip("root may read all, and there is no setpriv to have it otherwise")
        lead = ["setpriv", "--bounding-set", RIGHTS, "--inh-caps", RIGHTS]
    for name in ("one", "two"):
        (tmp_path / name / "rules").mkdir(parents=True)
        (tmp_path / name / "job.toml").write_text(JOB.format(id=name) + PHOTO_AND_RULE * (name == "one") + READINGS)
        (tmp_path / name / "rules" / "r.toml").write_text("[rule]\n")
        (tmp_path / name / "p.jpg").write_bytes(b"x" * 2000)

    def run(*words):
        env = {**os.environ, "PYTHONPATH": str(ROOT)}
        called = [*lead, sys.executable, "-m", "sizing.cli", *words]
        done = subprocess.run(called, cwd=tmp_path, capture_output=True, text=True, timeout=100, env=env, check=False)
        assert "Traceback" not in done.stderr
        return done

    yield run
    for path in [tmp_path / name for name in ("one", "two", "one/rules")]:
        path.chmod(0o755)


REMEDY = "Permission denied; give yourself the right to read it"


@pytest.mark.parametrize(
    ("command", "status"),
    [(["check", "--json", "--no-pictures"], Exit.UNREADABLE), (["release", "--json"], Exit.HOLD)],
    ids=["check", "release"],
)
@pytest.mark.parametrize("locked", ["one", "one/job.toml"])
def test_a_job_that_may_not_be_read_does_not_stop_the_next(ran, tmp_path, command, status, locked):
    """Found: a folder without that right was bad usage, and no job was checked."""
    (tmp_path / locked).chmod(0)
    done = ran(*command, "one", "two")
    assert done.returncode == status
    assert [job["job"] for job in json.loads(done.stdout)["jobs"]] == ["one", "two"]
    (line,) = [line for line in done.stderr.splitlines() if line.startswith("one")]
    assert REMEDY in line


@pytest.mark.parametrize("command", ["dispute", "footprint", "report", "request"])
def test_a_job_that_may_not_be_read_is_one_line_and_status_4(ran, tmp_path, command):
    (tmp_path / "one").chmod(0)
    done = ran(command, "one")
    (line,) = done.stderr.splitlines()
    assert (done.returncode, REMEDY in line) == (Exit.UNREADABLE, True)


def test_a_photo_that_may_not_be_read_is_status_4(ran, tmp_path):
    (tmp_path / "one" / "p.jpg").chmod(0)
    done = ran("estimate", "one/p.jpg")
    (line,) = done.stderr.splitlines()
    assert done.returncode == Exit.UNREADABLE
    assert line.endswith("p.jpg: may not be read; give yourself the right to read it")


def test_a_dispute_names_job_opening_and_photo_once(ran, tmp_path):
    (tmp_path / "one" / "p.jpg").chmod(0)
    (tmp_path / "one" / "rules" / "r.toml").chmod(0)
    done = ran("dispute", "one")
    photo, rule = done.stderr.splitlines()
    assert photo == "one/job.toml: W1: p.jpg: may not be read; give yourself the right to read it"
    assert rule == f"one/job.toml: W1: rules/r.toml: cannot be read: {REMEDY}"


def test_blanks_that_may_not_be_read_are_named_with_the_remedy(ran, tmp_path):
    (tmp_path / "one" / "blank.toml").write_text("")
    (tmp_path / "one" / "blank.toml").chmod(0)
    (line,) = [line for line in ran("report", "one").stderr.splitlines() if "blank.toml" in line]
    assert line == f"{tmp_path.resolve() / 'one' / 'blank.toml'}: cannot be read: {REMEDY}"
