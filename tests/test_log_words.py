"""Facts about the words of the log. Oracle: style.md, *Errors and messages*: plain words, remedy, no rank, no blame."""

import json
from dataclasses import replace
from datetime import date

import pytest

from sizing.log.export import statistics_document
from sizing.logged import Logged, LoggedRelease
from sizing.messages import log as words
from sizing.messages import log_asked, log_people
from sizing.messages.log_figures import interval
from sizing.statistics.findings import Finding, Together
from sizing.statistics.pooling import Interval

INCH = 25.4


def group(name="crew 2", readings=64, findings=(), **more):
    facts = {"openings": 8, "jobs": 3, "first": None, "last": None, "slips": 1}
    facts |= {"slips_per_100": Interval(1.6, 0.1, 8.4), "findings": tuple(findings)}
    return Together(name, readings, **facts | more)


@pytest.mark.parametrize("kind", ["shift", "scatter", "slips", "trend"])
def test_each_finding_says_what_to_do_and_that_chance_was_counted(kind):
    (said,) = log_people.conclusions(group(findings=[Finding(kind, 1e-6, 1e-4)]))
    assert said.startswith("Worth a look")
    assert "by chance anywhere in this table: under 0.001" in said
    assert any(step in said for step in ("lay this tape beside another", "ask how the work went", "compare tapes"))


def test_groups_come_by_name_and_no_word_ranks_or_blames():
    text = log_people.people([group("b", findings=[Finding("slips", 0.0, 0.0)]), group("a", 12)], "measurer", "in")
    assert "What these figures cannot tell" in text
    assert not any(word in text.casefold() for word in ("worst", "best", "bad ", "fault of", "careless", "rank "))


def test_a_bent_hook_is_told_from_a_scale_in_words():
    shift = Interval(6.0, 5.0, 7.0)
    facts = {"findings": [Finding("shift", 0.0, 0.0)], "shift_mm": shift, "mean_length_mm": 1500.0}
    hook = group(**facts, slope_mm_per_m=Interval(0.1, -0.5, 0.7))
    scale = group(**facts, slope_mm_per_m=Interval(4.0, 3.2, 4.8))
    unclear = group(**facts, slope_mm_per_m=Interval(2.0, -3.0, 7.0))
    says = [log_people.conclusions(g)[0] for g in (hook, scale, unclear)]
    assert ["bent or packed hook" in s for s in says] == [True, False, False]
    assert ["grows with the length" in s for s in says] == [False, True, False]
    assert "cannot be told" in says[2]


def test_the_ends_of_an_interval_are_rounded_away_from_it():
    narrow = Interval(INCH / 16, INCH / 16 - 0.1, INCH / 16 + 0.1)
    assert interval(narrow, "in") == "+1/16 in (+1/32 in to +3/32 in)"
    assert interval(Interval(0.04, -0.04, 0.11), "mm") == "0.0 mm (-0.1 mm to +0.2 mm)"


def test_a_shift_that_is_worth_a_look_is_seen_in_its_figure():
    # 64 readings good to 1 mm each have a mean good to 0.12 mm, an eighth of 1/32 in = 0.79 mm; ends by hand.
    known = group(shift_mm=Interval(-0.214, -0.334, -0.091))
    inch, metric = (log_people.figures(known, unit)[1] for unit in ("in", "mm"))
    assert inch == "mean of tape less photo: 0 in (-1/32 in to 0 in), finer: -0.21 mm (-0.34 to -0.09)"
    assert metric == "mean of tape less photo: -0.21 mm (-0.34 to -0.09)"
    (scatter,) = log_people.figures(group(scatter_mm=Interval(1.0, 0.904, 1.096)), "mm")[1:]
    assert scatter.endswith(": 1.00 mm (0.90 to 1.10)")


def test_words_are_plain_ascii_on_one_line():
    said = log_people.conclusions(
        group(findings=[Finding(k, 0.01, 0.02) for k in ("shift", "scatter", "slips", "trend")])
    )
    assert all(
        line.isascii() and "\n" not in line for line in [*said, log_people.SCOPE, log_people.heading(group("x\ny"))]
    )


def test_each_known_figure_of_a_group_has_its_line_with_its_interval():
    of = Interval(INCH / 8, 0.0, INCH / 4)
    known = {"shift_mm": of, "beyond_mm": of, "scatter_mm": of, "trend_mm": of}
    lines = log_people.figures(group(**known), "in")
    assert lines[0] == "slips in 100 readings: 1.6 (0.1 to 8.4), 1 in all"
    assert [line.split(":")[0].split(",")[0] for line in lines[1:]] == [
        "mean of tape less photo",
        "beyond what the others share",
        "scatter within an opening",
        "drift in 30 days",
    ]
    assert all("1/8 in" in line and "1/4 in" in line for line in lines[1:])
    assert log_people.figures(group(), "in") == lines[:1]


def test_nothing_is_concluded_where_chance_explains_it_or_little_is_known():
    assert log_people.conclusions(group()) == ["Nothing that chance does not explain."]
    assert log_people.conclusions(group(readings=19)) == ["Fewer than 20 readings: nothing is concluded from them."]


def test_a_release_is_said_with_size_name_time_and_whether_it_is_of_these_inputs():
    facts = ("2026-05-04T12:30:00Z", "W1", 2, 55.375 * INCH, 62.125 * INCH, "decision", "A.\nDesk")
    said = [words._released(LoggedRelease("a1b2", *facts, stale), "in") for stale in (False, True)]
    assert said[0] == (
        "released on 2026-05-04 12:30:00 UTC as a1b2: 2 of 55 3/8 in wide, 62 1/8 in high, decided by A. Desk"
    )
    assert said[1] == f"{said[0]}, of other inputs than those of this check"


def test_a_list_stays_narrow_however_long_a_name_on_record_is():
    # common practice, no source: a name has the room that the job file gives it, 100 characters
    one = Logged(
        1, "0123", "a", None, "job.toml", "j" * 900, "hold", "in", "", "x" * 200_000, "2026-05-04", "", 0, 1, 0, 0
    )
    lines = words.listed([one, replace(one, job="larch-1", measured_by="crew 2")]).splitlines()
    assert max(map(len, lines)) < 300
    assert "crew 2" in lines[2]
    assert len(log_people.heading(group("x" * 200_000))) < 250


def test_a_name_of_several_checks_lists_them_with_what_tells_them_apart():
    logged = Logged(
        1, "0123", "a\nb", None, "job.toml", "larch-1", "hold", "in", "", None, "2026-05-04", "", 0, 1, 0, 0
    )
    said = log_asked.several_runs("larch", [logged, replace(logged, run="4567")])
    assert "0123 (larch-1, 2026-05-04, a b)" in said
    assert "4567 (larch-1" in said
    assert "Name one by its run" in said


@pytest.mark.parametrize("by", ["shift_mm", None])
def test_the_statistics_are_strict_json_with_null_where_too_little_is_known(by):
    more = {by: Interval(1.23456, 0.5, 2.0)} if by else {}
    days = {"first": date(2026, 5, 4), "last": date(2026, 5, 9)} if by else {}
    found = group(findings=[Finding("shift", 0.001, 0.01)], **more | days)
    (said,) = json.loads(json.dumps(statistics_document([found], "tape"), allow_nan=False))["groups"]
    assert said["shift_mm"] == ({"value": 1.235, "low": 0.5, "high": 2.0} if by else None)
    assert (said["first"], said["last"]) == (("2026-05-04", "2026-05-09") if by else (None, None))
    assert said["findings"] == [{"kind": "shift", "p": 0.001, "p_table": 0.01}]
    assert (said["scatter_mm"], said["enough"]) == (None, True)


def test_a_list_blames_no_photo_for_what_it_does_not_know_the_reason_of():
    """A missing reading and a missing photo are unproven too (contract, *Decision*); `check` says which it is."""
    one = Logged(1, "01", "a", None, "job.toml", "larch-1", "unproven", "in", "", "", "2026-05-04", "", 0, 0, 2, 0)
    assert words.openings(one) == "2 cannot be told"
    assert "cannot be told" in words.listed([one])
