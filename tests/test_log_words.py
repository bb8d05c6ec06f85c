"""Facts about the words of the log. Oracle: style.md, *Errors and messages*: plain words, remedy, no rank, no blame."""

import pytest

from sizing.log.measurers import Finding, Together
from sizing.log.pooling import Interval
from sizing.messages import log as words

INCH = 25.4


def group(name="crew 2", readings=64, findings=(), **more):
    facts = {"openings": 8, "jobs": 3, "first": None, "last": None, "slips": 1}
    facts |= {"slips_per_100": Interval(1.6, 0.1, 8.4), "findings": tuple(findings)}
    return Together(name, readings, **facts | more)


@pytest.mark.parametrize("kind", ["shift", "scatter", "slips", "trend"])
def test_each_finding_says_what_to_do_and_that_chance_was_counted(kind):
    (said,) = words.conclusions(group(findings=[Finding(kind, 1e-6, 1e-4)]))
    assert said.startswith("Worth a look")
    assert "by chance anywhere in this table: under 0.001" in said
    assert any(step in said for step in ("lay this tape beside another", "ask how the work went", "compare tapes"))


def test_groups_come_by_name_and_no_word_ranks_or_blames():
    text = words.people([group("b", findings=[Finding("slips", 0.0, 0.0)]), group("a", 12)], "measurer", "in")
    assert "What these figures cannot tell" in text
    assert not any(word in text.casefold() for word in ("worst", "best", "bad ", "fault of", "careless", "rank "))


def test_a_bent_hook_is_told_from_a_scale_in_words():
    shift = Interval(6.0, 5.0, 7.0)
    facts = {"findings": [Finding("shift", 0.0, 0.0)], "shift_mm": shift, "mean_length_mm": 1500.0}
    hook = group(**facts, slope_mm_per_m=Interval(0.1, -0.5, 0.7))
    scale = group(**facts, slope_mm_per_m=Interval(4.0, 3.2, 4.8))
    unclear = group(**facts, slope_mm_per_m=Interval(2.0, -3.0, 7.0))
    says = [words.conclusions(g)[0] for g in (hook, scale, unclear)]
    assert ["bent or packed hook" in s for s in says] == [True, False, False]
    assert ["grows with the length" in s for s in says] == [False, True, False]
    assert "cannot be told" in says[2]


def test_the_ends_of_an_interval_are_rounded_away_from_it():
    narrow = Interval(INCH / 16, INCH / 16 - 0.1, INCH / 16 + 0.1)
    assert words.interval(narrow, "in") == "+1/16 in (+1/32 in to +3/32 in)"
    assert words.interval(Interval(0.04, -0.04, 0.11), "mm") == "0.0 mm (-0.1 mm to +0.2 mm)"


def test_words_are_plain_ascii_on_one_line():
    said = words.conclusions(group(findings=[Finding(k, 0.01, 0.02) for k in ("shift", "scatter", "slips", "trend")]))
    assert all(line.isascii() and "\n" not in line for line in [*said, words.SCOPE, words.heading(group("x\ny"))])
