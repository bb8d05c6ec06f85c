"""Lengths of past checks as the check itself said them. Oracles: 1 in is 25.4 mm exactly (NIST SP 811), by hand."""

import sqlite3

import pytest

from sizing.log.database import open_log
from sizing.log.index import index_run
from sizing.log.queries import details, find_run
from sizing.log.schema import MIGRATIONS
from sizing.logged import LoggedRelease
from sizing.messages.log import _reading, _released
from tests.test_logindex import left_by_a_check, reading

SHA = "a" * 64


def lines(tmp_path, unit, *readings):
    """Return what `log show` says of readings, through a result file and the index."""
    opening = {"label": "W1", "verdict": "send", "why": "All agree.", "inputs_sha256": SHA, "readings": list(readings)}
    index_run(left_by_a_check(tmp_path / "larch-1", openings=[opening]), file=tmp_path / "log.sqlite")
    with open_log(tmp_path / "log.sqlite") as log:
        (run,) = find_run(log, "larch-1")
        return [_reading(r, unit) for r in details(log, run).readings]


@pytest.mark.parametrize(
    ("written", "tape_mm", "unit", "says"),
    [
        ("54 3/8", 1381.125, "in", "54 3/8 in"),
        # 54 21/64 in are 1379.934 mm: to 1/32 in it would be 54 5/16, which nobody read.
        ("54 21/64", 1379.934375, "in", "54 21/64 in"),
        ("90.6", 2301.24, "in", "90.6 in"),
        ("1381", 1381.0, "mm", "1381 mm"),
        ("138.1 cm", 1381.0, "mm", "1381.0 mm (138.1 cm)"),
        ("", 1381.125, "in", "54 3/8 in"),
    ],
)
def test_a_reading_of_a_past_check_is_shown_as_it_was_written(tmp_path, written, tape_mm, unit, says):
    (line,) = lines(tmp_path, unit, reading(tape_mm=tape_mm, as_written=written))
    assert line.startswith(f"width, top: {says}, off by")


@pytest.mark.parametrize(
    ("off_mm", "unit", "says"),
    [
        (26.7, "in", "off by about +1 1/16 in, give or take 1/8 in, agrees"),
        (-26.7, "in", "off by about -1 1/16 in, give or take 1/8 in, agrees"),
        (0.4, "in", "off by about 0 in, give or take 1/8 in, agrees"),
        (-26.7, "mm", "off by about -27 mm, give or take 2 mm, agrees"),
    ],
)
def test_a_difference_is_rounded_as_the_photos_figures_are(tmp_path, off_mm, unit, says):
    (line,) = lines(tmp_path, unit, reading(difference_mm=off_mm))
    assert says in line


def test_a_released_size_loses_nothing_by_being_shown():
    # 55 1/64 in.
    sent = LoggedRelease("r1", "2026-05-05T00:00:00Z", "W1", 1, 1397.396875, 1600.2, "office", "office", stale=False)
    assert "1 of 55.0156 in wide, 63 in high" in _released(sent, "in")


def test_a_log_from_before_says_its_readings_as_lengths(tmp_path):
    file = tmp_path / "log.sqlite"
    old = sqlite3.connect(file)
    for step in MIGRATIONS[:4]:
        for statement in step:
            old.execute(statement)
    old.execute(
        "INSERT INTO runs VALUES (1, '/x', NULL, 'job.toml', 'x', 'j', 'send', 'in', '', '', NULL, NULL, 'then', '')"
    )
    old.execute("INSERT INTO openings VALUES (1, 1, 'W1', 'send', 'All agree.', '', 0)")
    old.execute(
        "INSERT INTO readings VALUES (1, 'width_top', 0, 1, NULL, NULL, NULL, 1381.125, NULL, NULL, NULL, '', '')"
    )
    old.execute("PRAGMA user_version = 4")
    old.commit()
    old.close()
    with open_log(file) as log:
        (run,) = find_run(log, "j")
        (one,) = details(log, run).readings
    assert _reading(one, "in").startswith("width, top: 54 3/8 in, no photo")
