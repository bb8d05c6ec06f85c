"""Facts about explanations. Oracles: facts.md section 7 (signatures), example 23, Bayes by hand."""

import math
from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest

from sizing.explaining.hypotheses import Other, Scene
from sizing.explaining.hypotheses_reading import (
    feet_and_inches_mm,
    six_nine_mm,
    swapped_digits_mm,
    wrong_side_mm,
)
from sizing.explaining.opening_scene import _size_from
from sizing.explaining.slips import load_priors
from sizing.explaining.weighed import explain_readings
from sizing.jobs.job import Opening, PhotoEntry
from sizing.messages.slips import slip_says
from vision.request import NINE, Candidate, Face, Reference

INCH = 25.4
VALUES = np.array([1381.0, 1384.2, 1387.0, 1524.0, 1527.0, 1521.5, 2056.6, 2060.0, -3.4])
NAMES = NINE[:8]
SOUND = dict(zip(NAMES, VALUES[:8].tolist(), strict=True))


def explain_all(readings, values=VALUES, cov=None, u=0.9, u_tape=1.0, candidates=(), **scene):
    rows = [NINE.index(n) for n in NAMES if n in readings]
    photo = np.eye(len(rows)) * u**2 if cov is None else cov[np.ix_(rows, rows)]
    seen = Scene(readings, dict(zip(NINE, values.tolist(), strict=True)), **scene)
    return explain_readings(seen, photo, np.eye(len(rows)) * u_tape**2, load_priors(), candidates=candidates)


def explained(name, changes, written=None, **more):
    texts = {} if written is None else {name: written}
    return explain_all({**SOUND, **changes}, written=texts, **more)[name]


@pytest.mark.parametrize(
    ("slip", "shift"),
    [
        ("burned-inch", INCH),
        ("burned-inch", -INCH),
        ("foot", 12 * INCH),
        ("foot", -12 * INCH),
        ("ten-inches", -10 * INCH),
        ("half", INCH / 2),
        ("inch-added", 2 * INCH),
        ("case-length", -3 * INCH),
        ("quarter", INCH / 4),
    ],
)
def test_a_slip_of_known_size_is_named_first_with_the_size_set_right(slip, shift):
    first = explained("height_left", {"height_left": SOUND["height_left"] + shift + 0.8})[0]
    assert (first.slip, first.shift_mm) == (slip, pytest.approx(shift))
    assert first.corrected_mm == pytest.approx(SOUND["height_left"] + 0.8)
    assert first.probability > 0.8


def test_62_in_where_61_were_is_a_burned_inch():
    # facts.md example 23.
    values = np.append(np.full(8, 61 * INCH), 0.0)
    readings = {"width_top": 62 * INCH, "width_middle": 61 * INCH}
    first = explain_all(readings, values, u=1.0)["width_top"][0]
    assert (first.slip, first.shift_mm) == ("burned-inch", pytest.approx(25.4))


@pytest.mark.parametrize("off", [0.0, 3.0, 12.7, 25.4, 90.0, -400.0])
def test_the_probabilities_sum_to_one_best_first(off):
    ranked = explained("height_left", {"height_left": SOUND["height_left"] + off}, written="60 1/8")
    assert sum(e.probability for e in ranked) == pytest.approx(1.0)
    assert [e.probability for e in ranked] == sorted((e.probability for e in ranked), reverse=True)


def test_a_difference_that_no_slip_predicts_is_none_of_these():
    first = explained("width_top", {"width_top": SOUND["width_top"] + 43.0})[0]
    assert (first.slip, first.corrected_mm, first.facts) == ("none-of-these", None, {})


def test_a_sound_reading_is_none_of_these():
    assert explained("width_top", {})[0].slip == "none-of-these"


def test_bayes_by_hand_agrees_for_a_single_reading():
    priors = load_priors()
    d, u = 24.0, math.hypot(2.0, 1.0)
    ranked = explain_all({"width_top": VALUES[0] + d}, u=2.0)["width_top"]

    def bell(mm, sd):
        return math.exp(-0.5 * (mm / sd) ** 2) / sd

    # Odds against no slip, whose weight is 1; ratios of units miss by hundreds of mm and add nothing.
    slips = {
        s: s.prior * (1.0 if s.scale == "in" else priors.other_scale) * bell(d - s.shift_mm, u) for s in priors.slips
    }
    side = 2.0 * ((VALUES[0] + d) % INCH)
    wrong = sum(priors.wrong_side * bell(d - shift, u) for shift in (side, side - 2.0 * INCH, side - INCH))
    spreads = priors.none_spreads_mm
    rest = bell(d, u) + sum(priors.none_of_these / len(spreads) * bell(d, math.hypot(u, sd)) for sd in spreads)
    burned = sum(w for s, w in slips.items() if s.code == "burned-inch")
    expected = burned / (sum(slips.values()) + wrong + rest)
    assert sum(e.probability for e in ranked if e.slip == "burned-inch") == pytest.approx(expected, rel=1e-6)


def test_sound_readings_take_out_the_scale_error_that_one_photo_shares():
    # One sheet: all measures 1 % too long together; alone the half inch drowns, beside the others it shows.
    scale = np.outer(VALUES, VALUES) * 0.01**2 + np.eye(9) * 0.3
    readings = {**SOUND, "width_middle": SOUND["width_middle"] + 12.7}
    joint = explain_all(readings, VALUES * 1.01, scale)["width_middle"]
    alone = explain_all({"width_middle": readings["width_middle"]}, VALUES * 1.01, scale)["width_middle"]
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
    first = explain_all(readings, values)["width_top"][0]
    assert (first.slip, first.facts["between"]) == ("stations-swapped", "width_top width_bottom")
    assert first.corrected_mm == pytest.approx(values[0])


def test_width_and_height_in_each_others_box_are_named():
    wrong = {"width_middle": SOUND["height_middle"], "height_middle": SOUND["width_middle"]}
    first = explained("width_middle", wrong)[0]
    assert (first.slip, first.facts["extent"]) == ("width-height-swapped", "one")
    assert first.corrected_mm == pytest.approx(SOUND["width_middle"])


def test_all_widths_and_heights_in_each_others_boxes_are_named_as_a_whole():
    wrong = dict(zip(NAMES[:6], [*VALUES[3:6], *VALUES[:3]], strict=True))
    first = explained("width_middle", wrong)[0]
    assert (first.slip, first.facts["extent"]) == ("width-height-swapped", "all")


def test_readings_taken_from_inside_are_mirrored_in_every_pair():
    values = VALUES + np.array([0, 0, 0, 8.0, 0, -8.0, -9.0, 9.0, 0])
    readings = {n: float(v) for n, v in zip(NAMES, values[[0, 1, 2, 5, 4, 3, 7, 6]], strict=True)}
    found = explain_all(readings, values)
    first = found["height_left"][0]
    assert (first.slip, first.corrected_mm) == ("seen-from-inside", pytest.approx(values[3]))
    assert found["diagonal_up"][0].slip == "seen-from-inside"


def test_two_slips_in_one_opening_are_each_named():
    found = explain_all(
        {**SOUND, "width_top": SOUND["width_top"] + INCH, "height_right": SOUND["height_right"] - 304.8}
    )
    assert (found["width_top"][0].slip, found["height_right"][0].slip) == ("burned-inch", "foot")
    assert found["width_middle"][0].slip == "none-of-these"


def test_an_inch_burned_on_every_reading_is_one_habit():
    first = explain_all({n: v + INCH for n, v in SOUND.items()})["height_left"][0]
    assert (first.slip, first.facts) == ("burned-inch", {"extent": "all"})
    assert first.probability > 0.9


def test_all_off_by_one_ratio_points_to_the_reference_and_sets_no_reading_right():
    # facts.md section 7: suspect the photo, not the tape.
    found = explain_all({n: v * 1.02 for n, v in SOUND.items()})
    assert {e[0].slip for e in found.values()} == {"one-ratio"}
    assert found["width_top"][0].corrected_mm is None


@pytest.mark.parametrize(
    ("size_from", "asked"), [("bars", "this very sheet"), ("print", "measure the sheet's bars"), ("page", "measure it")]
)
def test_one_ratio_asks_for_what_is_not_known_yet(size_from, asked):
    """Who has measured the bars is not told to suspect the print: common practice, no source."""
    first = explain_all({n: v * 1.02 for n, v in SOUND.items()}, size_from=size_from)["width_top"][0]
    assert asked in slip_says(first.slip, first.shift_mm, first.corrected_mm, first.facts, "in")


def test_a_photo_with_a_reference_of_its_own_is_asked_about_by_that():
    """The contract lets a table of a photo hold its reference: a page in the photo has no bars to measure."""
    photo = PhotoEntry("w1.jpg", Path("w1.jpg"), reference=Reference("letter"))
    assert [_size_from(Opening("W1", photos=p)) for p in ((), (photo,))] == ["print", "page"]


def test_all_off_by_one_shift_points_to_the_hook():
    # facts.md section 7: slack hook, same sign on all readings.
    found = explain_all({n: v + 4.0 for n, v in SOUND.items()})
    assert {e[0].slip for e in found.values()} == {"one-shift"}
    assert found["width_top"][0].corrected_mm == pytest.approx(SOUND["width_top"], abs=0.5)


def test_a_bent_hook_leaves_room_for_a_slip_of_one_reading():
    found = explain_all({n: v + 4.0 + (304.8 if n == "width_top" else 0.0) for n, v in SOUND.items()})
    assert (found["width_top"][0].slip, found["height_left"][0].slip) == ("foot", "one-shift")
    assert found["height_left"][0].corrected_mm == pytest.approx(SOUND["height_left"], abs=0.5)


def test_one_reading_copied_into_all_boxes_names_its_source_and_no_size():
    values = VALUES + np.array([0, 8.0, 20.0, 0, 0, 0, 0, 0, 0])
    wrong = dict.fromkeys(NAMES[:3], float(values[0]) + 0.4)
    found = explain_all({**SOUND, **wrong}, values)
    first = found["width_bottom"][0]
    assert (first.slip, first.corrected_mm, first.facts["from"]) == ("copied", None, "width_top")
    assert found["width_top"][0].slip == "none-of-these"


def test_readings_to_the_trim_that_the_photo_sees_are_another_line():
    # facts.md section 7: plus left and right trim widths, all readings of that axis alike.
    faces = tuple(
        Face(f"{side} jamb, line 38 mm outside", {n: SOUND[n] + 38.1 for n in NAMES[:3]}, 1.0, 0.0)
        for side in ("left", "right")
    )
    wrong = {n: SOUND[n] + 76.2 for n in NAMES[:3]}
    first = explain_all({**SOUND, **wrong}, faces=faces)["width_middle"][0]
    assert (first.slip, first.corrected_mm) == ("another-line", pytest.approx(SOUND["width_middle"]))
    assert "left jamb" in first.facts["lines"]
    assert "right jamb" in first.facts["lines"]


def test_readings_of_another_opening_of_the_job_name_it():
    other = VALUES + np.array([140, 138, 141, -210, -212, -208, -60, -61, 1.0])
    readings = dict(zip(NAMES, (other[:8] + 0.7).tolist(), strict=True))
    others = (Other("W3", VALUES + 55.0, np.eye(9)), Other("W7", other, np.eye(9)))
    found = explain_all(readings, others=others)
    assert {e[0].slip for e in found.values()} == {"another-opening"}
    assert found["width_top"][0].facts["opening"] == "W7"


@pytest.mark.parametrize("off", [47.0, -55.0, 140.0])
def test_a_direction_off_by_an_amount_that_nothing_predicts_is_none_of_these(off):
    wrong = {n: SOUND[n] + off for n in NAMES[:3]}
    assert explain_all({**SOUND, **wrong})["width_bottom"][0].slip == "none-of-these"


def test_the_likelihood_ratio_owes_nothing_to_how_common_a_slip_is():
    # By hand: two normal densities at the same place.
    first = explain_all({"width_top": VALUES[0] + INCH}, u=0.6, u_tape=0.8)["width_top"][0]
    spreads = [math.hypot(1.0, sd) for sd in load_priors().none_spreads_mm]
    against = sum(math.exp(-0.5 * (INCH / sd) ** 2) / sd for sd in spreads) / len(spreads)
    assert (first.slip, first.likelihood_ratio) == ("burned-inch", pytest.approx(1.0 / against, rel=1e-3))


def test_a_six_and_a_nine_are_three_of_their_unit_apart():
    # facts.md section 7: +-3, +-30, +-300 in the unit used.
    assert six_nine_mm(66 * INCH, "66") == {"96": pytest.approx(-30 * INCH), "69": pytest.approx(-3 * INCH)}
    assert six_nine_mm(1981.0, "1981 mm") == {"1681": pytest.approx(300.0)}
    assert (
        explained("height_left", {"height_left": SOUND["height_left"] + 9 * INCH}, written="69")[0].slip != "six-nine"
    )


def test_a_fraction_counted_from_the_wrong_side_is_off_by_twice_the_fraction():
    # facts.md section 7: k/16 counted the wrong way from an inch mark: 2k/16 in.
    assert wrong_side_mm((54 + 3 / 16) * INCH)[0] == pytest.approx(6 / 16 * INCH)
    assert wrong_side_mm((54 + 13 / 16) * INCH)[1] == pytest.approx(-6 / 16 * INCH)
    assert wrong_side_mm(54 * INCH) == ()


def test_a_fraction_counted_down_from_the_mark_above_is_the_rest_of_the_inch():
    """Common practice, no source: 35 13/16 is 3/16 before the 36, and written 35 3/16."""
    assert wrong_side_mm((35 + 3 / 16) * INCH)[2] == pytest.approx(-10 / 16 * INCH)
    assert len(wrong_side_mm(54.5 * INCH)) == 2  # half an inch is half an inch from either mark


def test_five_feet_two_written_as_52_is_ten_inches_short():
    # facts.md section 7: 5 ft 2 read as 52: 62 vs 52 = -10 in.
    assert feet_and_inches_mm(52 * INCH, "52") == pytest.approx(-10 * INCH)
    assert feet_and_inches_mm(1381.0, "1381 mm") is None


def test_four_feet_six_put_down_as_46_is_named_first():
    # facts.md section 7: as many times 2 in short as there were feet; 54 3/8 written 46 3/8.
    first = explained("width_top", {"width_top": SOUND["width_top"] - 8 * INCH}, written="46 3/8")[0]
    assert (first.slip, first.corrected_mm) == ("feet-and-inches", pytest.approx(SOUND["width_top"]))


def test_an_inch_burned_on_all_sides_and_not_on_the_diagonals_is_one_habit():
    found = explain_all({n: mm + (0.0 if n.startswith("diagonal") else INCH) for n, mm in SOUND.items()})
    assert {(found[n][0].slip, found[n][0].facts["extent"]) for n in NAMES[:6]} == {("burned-inch", "all")}


def test_another_edge_in_the_photo_is_not_called_a_slip():
    nine = np.zeros(9)
    nine[:3] = -12.7
    arris, frame = Candidate("left", 0.55, 0.0, np.zeros(9)), Candidate("left", 0.4, -12.7, nine)
    wrong = {n: SOUND[n] - 12.7 for n in NAMES[:3]}
    ranked = explained("width_middle", wrong, candidates=(arris, frame))
    assert (ranked[0].slip, ranked[0].facts) == ("none-of-these", {"reading": "sound"})
    said = slip_says(ranked[0].slip, None, None, ranked[0].facts, "in")
    assert "photo's line" in said


def test_all_priors_are_guesses_in_one_file_and_small_against_no_slip():
    table = (files("sizing") / "data" / "slips.toml").read_text(encoding="utf-8")
    assert 'status = "guess"' in table
    priors = load_priors()
    assert 0.0 < sum(s.prior for s in priors.slips) < 0.1
    assert min(s.prior for s in priors.slips) > 0.0


def test_two_slips_are_named_though_their_measures_are_correlated():
    # While one stands unexplained, the other looks like 'something else': one sheet's scale is common to both.
    cov = np.outer(VALUES, VALUES) * 0.002**2 + np.eye(9) * 0.4
    wrong = {"width_top": SOUND["width_top"] + 254.0, "diagonal_down": SOUND["diagonal_down"] - 254.0}
    found = explain_all({**SOUND, **wrong}, cov=cov)
    assert {found[n][0].slip for n in wrong} == {"ten-inches"}
