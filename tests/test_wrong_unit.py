"""Facts about readings put down in another unit. Oracle: 1 in is 2.54 cm exactly (international inch, 1959)."""

import pytest

from sizing.explaining.explanations import explain_wrong_unit
from sizing.explaining.units_taken import units_taken
from sizing.messages.slips import slip_says
from sizing.units import parse_length
from tests.test_explanations import INCH, NAMES, SOUND, explained


def test_a_reading_in_centimetres_taken_for_inches_is_a_wrong_unit():
    first = explained("width_middle", {"width_middle": SOUND["width_middle"] * 2.54})[0]
    assert (first.slip, first.corrected_mm) == ("wrong-unit", pytest.approx(SOUND["width_middle"]))


def test_a_whole_form_in_another_unit_is_one_cause():
    # 1 in is 2.54 cm exactly (international inch, 1959): centimetres put down as inches, and the reverse.
    for ratio, names in ((2.54, NAMES[:6]), (1 / 2.54, NAMES[:6]), (2.54, NAMES)):
        off = {n: SOUND[n] * ratio for n in names}
        for name in off:
            first = explained(name, off)[0]
            assert (first.slip, first.facts) == ("wrong-unit", {"extent": "all"})
            assert first.corrected_mm == pytest.approx(SOUND[name])
    said = slip_says(first.slip, first.shift_mm, first.corrected_mm, first.facts, "in")
    assert said.startswith("written in another unit than the job's, on every reading: ")


@pytest.mark.parametrize(
    ("written", "unit", "meant_mm", "says"),
    [
        # 1 in is 2.54 cm exactly (international inch, 1959).
        ("90.6", "in", 906.0, "centimetres put down as inches"),
        ("906", "in", 906.0, "millimetres put down as inches"),
        ("906", "mm", 9060.0, "centimetres put down as millimetres"),
        ("35 5/8 mm", "in", 35.625 * INCH, "inches put down as millimetres"),
        ("35.6 cm", "in", 35.6 * INCH, "inches put down as centimetres"),
        ("906 cm", "mm", 906.0, "millimetres put down as centimetres"),
        ("5/8", "in", 6.25, "centimetres put down as inches"),
        ("4000", "mm", 4000 * INCH, "inches put down as millimetres"),
        # Ten times as many inches are no unit's; nor are feet, nor what fits no size.
        ("5.4", "in", 54.0 * INCH, "written in another unit than the job's"),
        ("4' 6", "in", 46.0, "written in another unit than the job's"),
        ("3 m", "mm", 3.0 * 10, "written in another unit than the job's"),
        ("90.6", "in", None, "written in another unit than the job's"),
    ],
)
def test_the_units_that_were_taken_for_each_other_are_named(written, unit, meant_mm, says):
    facts = units_taken(written, parse_length(written, unit).mm, meant_mm)
    assert slip_says("wrong-unit", None, None, facts, unit) == says


def test_a_length_no_opening_has_lists_the_units_that_would_fit():
    # 54.375 in written without its unit in a job in mm.
    sizes = {round(e.corrected_mm, 1) for e in explain_wrong_unit(54.375)}
    assert sizes == {1381.1, 543.8, 138.1}
    assert [(e.slip, e.corrected_mm) for e in explain_wrong_unit(0.5)] == [("wrong-unit", None)]
