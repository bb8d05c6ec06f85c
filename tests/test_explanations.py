"""Facts about explanations. Oracles: facts.md section 7 (signatures), example 23, Bayes by hand."""

import math
from types import SimpleNamespace

import numpy as np
import pytest

from sizing.decision import Judgement, judge_reading, judge_without_photo, mixture_of
from sizing.explanations import explain, explain_reading, explain_wrong_unit
from sizing.slips import load_priors, swapped_digits_mm
from vision.request import NINE, Candidate

INCH = 25.4
VALUES = np.array([1381.0, 1384.2, 1387.0, 1524.0, 1527.0, 1521.5, 2056.6, 2060.0, -3.4])
NAMES = NINE[:8]
SOUND = dict(zip(NAMES, VALUES[:8].tolist(), strict=True))


def explained(name, changes, u=0.9, **more):
    readings = {**SOUND, **changes}
    u_tape = dict.fromkeys(readings, 1.0)
    return explain_reading(name, readings, VALUES, np.eye(9) * u**2, u_tape, load_priors(), **more)


@pytest.mark.parametrize(
    ("slip", "shift"),
    [
        ("burned-inch", INCH),
        ("burned-inch", -INCH),
        ("foot", 12 * INCH),
        ("foot", -12 * INCH),
        ("ten-inches", -10 * INCH),
        ("half", INCH / 2),
        ("three-quarters", -0.75 * INCH),
        ("quarter", INCH / 4),
    ],
)
def test_a_slip_of_known_size_is_named_first_with_the_size_set_right(slip, shift):
    first = explained("width_middle", {"width_middle": SOUND["width_middle"] + shift + 0.8})[0]
    assert (first.slip, first.shift_mm) == (slip, pytest.approx(shift))
    assert first.corrected_mm == pytest.approx(SOUND["width_middle"] + 0.8)
    assert first.probability > 0.8


def test_62_in_where_61_were_is_a_burned_inch():
    # facts.md example 23.
    values = np.append(np.full(8, 61 * INCH), 0.0)
    readings = {"width_top": 62 * INCH, "width_middle": 61 * INCH}
    first = explain_reading(
        "width_top",
        readings,
        values,
        np.eye(9),
        dict.fromkeys(readings, 1.0),
        load_priors(),
        suspects=("width_top",),
    )[0]
    assert (first.slip, first.shift_mm) == ("burned-inch", pytest.approx(25.4))


@pytest.mark.parametrize("off", [0.0, 3.0, 12.7, 25.4, 90.0, -400.0])
def test_the_probabilities_sum_to_one_best_first(off):
    ranked = explained("height_left", {"height_left": SOUND["height_left"] + off}, written="60 1/8")
    assert sum(e.probability for e in ranked) == pytest.approx(1.0)
    assert [e.probability for e in ranked] == sorted((e.probability for e in ranked), reverse=True)


def test_a_difference_that_no_slip_predicts_is_none_of_these():
    first = explained("width_top", {"width_top": SOUND["width_top"] + 43.0})[0]
    assert (first.slip, first.corrected_mm) == ("none-of-these", None)


def test_a_sound_reading_is_none_of_these():
    assert explained("width_top", {})[0].slip == "none-of-these"


def test_bayes_by_hand_agrees_for_a_single_reading():
    priors = load_priors()
    d, u = 24.0, math.hypot(2.0, 1.0)
    readings = {"width_top": VALUES[0] + d}
    ranked = explain_reading("width_top", readings, VALUES, np.eye(9) * 4.0, {"width_top": 1.0}, priors)
    weight = {s: s.prior * math.exp(-0.5 * ((d - s.shift_mm) / u) ** 2) / u for s in priors.slips}
    broad = math.hypot(u, priors.none_spread_mm)
    rest = priors.clean * math.exp(-0.5 * (d / u) ** 2) / u
    rest += priors.none_of_these * math.exp(-0.5 * (d / broad) ** 2) / broad
    burned = sum(w for s, w in weight.items() if s.code == "burned-inch")
    # Ratios of units miss by hundreds of mm and add nothing.
    expected = burned / (sum(weight.values()) + rest)
    assert sum(e.probability for e in ranked if e.slip == "burned-inch") == pytest.approx(expected, rel=1e-6)


def test_sound_readings_take_out_the_scale_error_that_one_photo_shares():
    # One sheet: all measures 1 % too long together; alone the half inch drowns, beside the others it shows.
    scale = np.outer(VALUES, VALUES) * 0.01**2 + np.eye(9) * 0.3
    values = VALUES * 1.01
    readings = {**SOUND, "width_middle": SOUND["width_middle"] + 12.7}
    u_tape = dict.fromkeys(readings, 1.0)
    joint = explain_reading("width_middle", readings, values, scale, u_tape, load_priors())
    alone = explain_reading(
        "width_middle", {"width_middle": readings["width_middle"]}, values, scale, u_tape, load_priors()
    )
    assert (joint[0].slip, joint[0].shift_mm) == ("half", pytest.approx(12.7))
    assert joint[0].probability > 0.85
    assert max(e.probability for e in alone if e.slip == "half") < 0.1


def test_digits_swapped_as_written_are_a_multiple_of_nine_of_the_unit():
    # facts.md section 7: 36/63 differ by 27; 1102 read as 1012 is -90 mm.
    assert swapped_digits_mm(63 * INCH, "63") == {"36": pytest.approx(27 * INCH)}
    assert swapped_digits_mm(1012.0, "1012 mm")["1102"] == pytest.approx(-90.0)
    assert swapped_digits_mm(138.1 * 10, "138.1 cm")["183"] == pytest.approx(-450.0)


@pytest.mark.parametrize("written", ["4' 6 3/8\"", "55", "50", "1.381 m", "", "three"])
def test_a_text_without_two_unlike_digits_in_front_has_none_to_swap(written):
    assert swapped_digits_mm(1381.0, written) == {}


def test_digits_counted_in_feet_are_not_swapped():
    assert swapped_digits_mm(12 * 304.8, "12'") == {}


def test_swapped_digits_are_named_first():
    wrong = SOUND["width_top"] - 9 * INCH
    first = explained("width_top", {"width_top": wrong}, written="45 3/8")[0]
    assert (first.slip, first.facts["meant"]) == ("digits-swapped", "54")
    assert first.corrected_mm == pytest.approx(SOUND["width_top"])


def test_two_stations_in_each_others_box_are_named_with_the_partner():
    values = VALUES.copy()
    values[0] += 20.9
    readings = {"width_top": SOUND["width_bottom"], "width_bottom": values[0], "width_middle": VALUES[1]}
    first = explain_reading(
        "width_top",
        readings,
        values,
        np.eye(9),
        dict.fromkeys(readings, 1.0),
        load_priors(),
        suspects=("width_top", "width_bottom"),
    )[0]
    assert (first.slip, first.facts["with"]) == ("stations-swapped", "width_bottom")
    assert first.corrected_mm == pytest.approx(values[0])


def test_width_and_height_in_each_others_box_are_named():
    wrong = {"width_middle": SOUND["height_middle"], "height_middle": SOUND["width_middle"]}
    first = explained("width_middle", wrong, suspects=("width_middle", "height_middle"))[0]
    assert (first.slip, first.facts) == ("width-height-swapped", {"with": "height_middle", "extent": "one"})
    assert first.corrected_mm == pytest.approx(SOUND["width_middle"])


def test_all_widths_and_heights_in_each_others_boxes_are_named_as_a_whole():
    wrong = dict(zip(NAMES[:6], [*VALUES[3:6], *VALUES[:3]], strict=True))
    first = explained("width_middle", wrong, suspects=NAMES[:6])[0]
    assert (first.slip, first.facts["extent"]) == ("width-height-swapped", "all")


def test_a_reading_in_centimetres_taken_for_inches_is_a_wrong_unit():
    first = explained("width_middle", {"width_middle": SOUND["width_middle"] * 2.54})[0]
    assert (first.slip, first.corrected_mm) == ("wrong-unit", pytest.approx(SOUND["width_middle"]))


def test_another_edge_in_the_photo_is_not_called_a_slip():
    nine = np.zeros(9)
    nine[:3] = -12.7
    arris, frame = Candidate("left", 0.55, 0.0, np.zeros(9)), Candidate("left", 0.4, -12.7, nine)
    wrong = {n: SOUND[n] - 12.7 for n in NAMES[:3]}
    ranked = explained("width_middle", wrong, candidates=(arris, frame), suspects=NAMES[:3])
    assert ranked[0].slip == "none-of-these"


def test_a_length_no_opening_has_lists_the_units_that_would_fit():
    # 54.375 in written without its unit in a job in mm.
    sizes = {round(e.corrected_mm, 1) for e in explain_wrong_unit(54.375)}
    assert sizes == {1381.1, 543.8, 138.1}
    assert [(e.slip, e.corrected_mm) for e in explain_wrong_unit(0.5)] == [("wrong-unit", None)]


def test_all_priors_are_guesses_in_one_file_and_below_one():
    priors = load_priors()
    slips = sum(s.prior for s in priors.slips)
    assert 0.0 < slips < priors.clean < 1.0
    assert {"burned-inch", "foot", "half", "ten-inches", "quarter", "eighth", "three-quarters"} == {
        s.code for s in priors.slips
    }


def opening_with(readings):
    rows = [
        SimpleNamespace(
            name=n,
            length=SimpleNamespace(mm=v, as_written=f"{v} mm"),
            tape="class-2",
            graduation_mm=INCH / 16,
        )
        for n, v in readings.items()
    ]
    return SimpleNamespace(readings=rows, wall="masonry")


def judged(readings):
    found = {}
    for n, v in readings.items():
        limit = 12.7 if n.startswith("diagonal") else 6.35
        found[n] = judge_reading(v, mixture_of(VALUES, np.eye(9), (), n), limit, limit)
    return found


ESTIMATE = SimpleNamespace(values_mm=VALUES, cov_mm2=np.eye(9), candidates=())


def test_only_readings_that_need_one_get_an_explanation():
    readings = {**SOUND, "width_middle": SOUND["width_middle"] + INCH}
    found = explain(opening_with(readings), judged(readings), ESTIMATE)
    assert set(found) == {"width_middle"}
    assert found["width_middle"][0].slip == "burned-inch"


def test_an_unproven_reading_is_explained_only_where_a_slip_is_likelier_than_none():
    readings = {**SOUND, "width_top": SOUND["width_top"] + 6.35}
    weak = {n: Judgement("unproven", v) for n, v in readings.items()}
    assert set(explain(opening_with(readings), weak, ESTIMATE)) == {"width_top"}


def test_without_a_photo_only_a_length_no_opening_has_is_explained():
    readings = {"width_top": 54.375, "width_middle": 1381.0}
    judgements = {n: judge_without_photo(v) for n, v in readings.items()}
    found = explain(opening_with(readings), judgements, None)
    assert {n: e[0].slip for n, e in found.items()} == {"width_top": "wrong-unit"}


def test_a_length_no_opening_has_is_a_wrong_unit_set_right_by_the_photo():
    readings = {**SOUND, "width_top": SOUND["width_top"] / 25.4, "height_left": 50.0}
    found = explain(opening_with(readings), judged(readings), ESTIMATE)
    assert found["width_top"][0].slip == found["height_left"][0].slip == "wrong-unit"
    assert found["width_top"][0].corrected_mm == pytest.approx(SOUND["width_top"])


def test_sizes_that_the_photo_refutes_are_not_put_forward():
    readings = {**SOUND, "width_top": 13_208.0}
    first = explain(opening_with(readings), judged(readings), ESTIMATE)["width_top"][0]
    assert (first.slip, first.corrected_mm) == ("wrong-unit", None)
