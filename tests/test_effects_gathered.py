"""Sides in doubt told together. Oracle: independent parts add in squares (JCGM 100, 5.1.2); 3, 4, 5 by Pythagoras."""

import numpy as np
import pytest

from sizing.desk.opening_view import warning_lines
from sizing.opening_lines import all_warnings
from sizing.photoresults import PhotoResult
from vision.quality.effects import with_effects
from vision.request import PARTS, SIDE_WORD, SIDES, PhotoReport, Warning_

COV, BUDGET = np.diag([36.0, 1, 1, 1, 1, 1, 1, 1, 1]), np.zeros((9, len(PARTS)))
BUDGET[0, [PARTS.index("edge_trace"), PARTS.index("edge_choice")]] = 3.0, 4.0
CODES = ("edge-hidden", "edge-ambiguous")


def told(sides):
    """Return what is said of sides that are both hidden and not the only line there, among another warning."""
    each = [Warning_(code, f"{code} of the {SIDE_WORD[s]}", s) for s in sides for code in CODES]
    return with_effects([*each, Warning_("one-reference", "only one")], COV, BUDGET)


@pytest.mark.parametrize("sides", [SIDES, SIDES[:3]])
def test_many_sides_in_doubt_say_one_sentence_with_their_names_and_joint_effect(sides):
    report = PhotoReport("a.jpg", "", (1, 1), warnings=told(sides))
    shown = [w.message for w in all_warnings((), [PhotoResult("a.jpg", report)])]
    assert len(shown) == 2
    assert all(SIDE_WORD[s] in shown[0] for s in sides)
    assert shown[0].endswith("(the top width is known to 12.0 mm, 10.0 mm of it from this)")
    assert shown[0].count("point exactly at its corners") == 1
    # The desk shows what is so, and unfolds the rest: both are whole.
    (line, _) = warning_lines({"warnings": [{"message": message} for message in shown]})
    assert line["short"].endswith(f"{SIDE_WORD[sides[-1]]})")
    assert line["whole"].startswith("No clear line shows them")


def test_no_warning_loses_its_code_or_side_when_sides_are_told_together():
    kept = [(w.code, w.side) for w in told(SIDES)]
    assert kept == [(code, s) for s in SIDES for code in CODES] + [("one-reference", "")]


def test_two_sides_in_doubt_are_told_one_by_one():
    assert len({w.message for w in told(SIDES[:2])}) == 5
