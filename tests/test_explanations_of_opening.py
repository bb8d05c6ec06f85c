"""Which readings of a whole opening get an explanation, with a photo and without. Oracle: facts.md section 7."""

from types import SimpleNamespace

import numpy as np
import pytest

from sizing.decision import Judgement, judge_reading, judge_without_photo, mixture_of
from sizing.explaining.explanations import explain
from tests.test_explanations import INCH, SOUND, VALUES
from vision.request import CheckBar, Reference


def opening_with(readings):
    rows = [
        SimpleNamespace(
            name=n,
            length=SimpleNamespace(mm=v, as_written=f"{v / INCH} in", step_mm=INCH / 16),
            tape="class-2",
            visit=0,
            graduation_mm=INCH / 16,
        )
        for n, v in readings.items()
    ]
    return SimpleNamespace(readings=rows, wall="masonry", seen_reference=Reference(), check_bar=CheckBar())


def judged(readings):
    found = {}
    for n, v in readings.items():
        limit = 12.7 if n.startswith("diagonal") else 6.35
        found[n] = judge_reading(v, mixture_of(VALUES, np.eye(9), (), n), limit, limit)
    return found


ESTIMATE = SimpleNamespace(values_mm=VALUES, cov_mm2=np.eye(9), candidates=(), faces=())


def test_only_readings_that_need_one_get_an_explanation():
    readings = {**SOUND, "width_middle": SOUND["width_middle"] + INCH}
    found = explain(opening_with(readings), judged(readings), ESTIMATE)
    assert set(found) == {"width_middle"}
    assert found["width_middle"][0].slip == "burned-inch"
    assert found["width_middle"][-1].slip == "none-of-these"


def test_an_unproven_reading_is_explained_only_where_a_slip_is_likelier_than_none():
    readings = {**SOUND, "width_top": SOUND["width_top"] + 6.35}
    weak = {n: Judgement("unproven", v) for n, v in readings.items()}
    assert set(explain(opening_with(readings), weak, ESTIMATE)) == {"width_top"}


def without_photo(readings):
    judgements = {n: judge_without_photo(v) for n, v in readings.items()}
    return explain(opening_with(readings), judgements, None)


def test_without_a_photo_a_length_no_opening_has_is_a_wrong_unit():
    found = without_photo({"width_top": 54.375, "width_middle": 1381.0})
    assert {n: e[0].slip for n, e in found.items()} == {"width_top": "wrong-unit"}


def test_without_a_photo_the_other_readings_tell_a_burned_inch():
    # The middle width counts an inch more than top, bottom and diagonals allow: facts.md section 7.
    found = without_photo({**SOUND, "width_middle": SOUND["width_middle"] + INCH})
    assert set(found) == {"width_middle"}
    assert (found["width_middle"][0].slip, found["width_middle"][0].shift_mm) == ("burned-inch", pytest.approx(INCH))


def test_without_a_photo_sound_readings_are_not_explained():
    assert without_photo(SOUND) == {}


def test_without_a_photo_and_with_one_reading_nothing_can_be_said():
    assert without_photo({"width_top": 1381.0}) == {}
    assert without_photo({"width_top": 1381.0, "height_left": 1524.0}) == {}


def test_a_length_no_opening_has_is_a_wrong_unit_set_right_by_the_photo():
    readings = {**SOUND, "width_top": SOUND["width_top"] / 25.4, "height_left": 50.0}
    found = explain(opening_with(readings), judged(readings), ESTIMATE)
    assert found["width_top"][0].slip == found["height_left"][0].slip == "wrong-unit"
    assert found["width_top"][0].corrected_mm == pytest.approx(SOUND["width_top"])


def test_the_units_of_a_length_put_down_in_another_are_facts_of_its_explanation():
    # As many inches as it was centimetres: 1 in is 2.54 cm exactly.
    readings = {**SOUND, "width_top": SOUND["width_top"] * 2.54}
    found = explain(opening_with(readings), judged(readings), ESTIMATE)["width_top"][0]
    assert found.slip == "wrong-unit"
    assert found.facts == {"unit": "cm", "put_down_as": "in"}


def test_sizes_that_the_photo_refutes_are_not_put_forward():
    readings = {**SOUND, "width_top": 13_208.0}
    first = explain(opening_with(readings), judged(readings), ESTIMATE)["width_top"][0]
    assert (first.slip, first.corrected_mm) == ("wrong-unit", None)
