"""Facts about two digits of inches split into feet and inches. Oracle: by hand, a ft b in for 10 a + b in."""

import numpy as np
import pytest

from sizing.explaining.hypotheses_reading import inches_split_mm
from sizing.messages.slips import slip_says
from sizing.units import parse_length
from tests.test_explanations import INCH, NAMES, SOUND, VALUES, explain_all, explained


@pytest.mark.parametrize(
    ("written", "meant_in"),
    [
        ("4' 4 1/4\"", 44.25),
        ("5' 3 7/16\"", 53.4375),
        ("6' 4\"", 64),
        ("4 ft 4.25 in", 44.25),
        ("10'-3\"", 103),
        ("5' 0\"", 50),
    ],
)
def test_inches_split_into_feet_are_two_inches_too_long_a_foot(written, meant_in):
    # By hand: a ft b in = 12 a + b, meant was 10 a + b; the parser of typed lengths gives what was read.
    read = parse_length(written, "in").mm
    assert read - inches_split_mm(written) == pytest.approx(meant_in * INCH)


@pytest.mark.parametrize("written", ["44 1/4", "4' 11\"", "4' 1/2\"", "4 ft", "4.5 ft 3 in", "1381 mm", ""])
def test_what_is_no_two_digits_with_marks_between_is_no_split_number(written):
    assert inches_split_mm(written) is None


@pytest.mark.parametrize(("written", "off"), [("4' 4 1/4\"", 8), ("5' 3 7/16\"", 10), ("6' 4\"", 12)])
def test_a_reading_alone_with_feet_is_likelier_split_than_started_at_a_mark(written, off):
    # 10 and 12 in are also the ten-inch and the foot mark; beside readings in inches the feet mark tells.
    true = parse_length(written, "in").mm - off * INCH
    values = np.append(np.full(8, true), 0.0)
    readings = {**dict.fromkeys(NAMES, true), "width_top": true + off * INCH}
    first = explain_all(readings, values, written={"width_top": written})["width_top"][0]
    assert (first.slip, first.shift_mm) == ("inches-split", pytest.approx(off * INCH))
    assert first.probability > 0.5
    assert "split into feet and inches" in slip_says(first.slip, first.shift_mm, first.corrected_mm, first.facts, "in")


def test_the_same_length_written_in_inches_is_no_split_number():
    readings = {"width_top": SOUND["width_top"] + 10 * INCH}
    assert explained("width_top", readings, written="64 3/8")[0].slip == "ten-inches"
    assert "inches-split" not in {e.slip for e in explained("width_top", readings, written="64 3/8")}


def test_widths_all_split_are_one_cause():
    meant = {"width_top": 44.25, "width_middle": 44.5, "width_bottom": 44.375}
    texts = {"width_top": "4' 4 1/4\"", "width_middle": "4' 4 1/2\"", "width_bottom": "4' 4 3/8\""}
    values = VALUES.copy()
    values[:3] = [v * INCH for v in meant.values()]
    readings = {**SOUND, **{n: parse_length(t, "in").mm for n, t in texts.items()}}
    found = explain_all(readings, values, written=texts)
    assert {found[n][0].slip for n in texts} == {"inches-split"}
    assert found["width_top"][0].facts == {"extent": "axis"}
    more = {"height_left": "6' 0\"", "height_middle": "6' 0 1/4\"", "height_right": "5' 9 7/8\""}  # 60, 60 1/4, 59 7/8
    values[3:6] = [60 * INCH, 60.25 * INCH, 59.875 * INCH]
    readings = {n: parse_length(t, "in").mm for n, t in (texts | more).items()}
    found = explain_all(readings, values, written=texts | more)
    assert {(e[0].slip, e[0].facts.get("extent")) for e in found.values()} == {("inches-split", "all")}
