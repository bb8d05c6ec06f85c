"""Facts about the cross-check of one opening. Oracles: design.md (pairs), contract (Decision), simulation."""

import numpy as np
import pytest

from sizing.crosscheck.adjustment import BOW_U_MM, CORNER_U_MM, STATIONS, bow_effects, predict_readings_mm
from sizing.crosscheck.consistency import (
    cov_of_readings_mm2,
    cross_check,
    cross_check_without,
    expected_lengths_mm,
    inconsistent_group,
    sound_readings,
)
from sizing.jobs.job import Opening, Reading
from sizing.joint_test import warnings_of
from sizing.tape import readings_cov_mm2, too_long_mm
from sizing.units import parse_length
from vision.request import Candidate, Estimate

INCH = 25.4
SHAPE = np.array([1380.0, 1384.0, 1520.0, 1523.0, 10.0])
SOUND = predict_readings_mm(SHAPE)


def opening(off=None, names=STATIONS, tape="class-2", **more):
    rows = []
    for name, value in zip(STATIONS, SOUND, strict=True):
        if name in names:
            mm = value + too_long_mm(value) + (off or {}).get(name, 0.0)
            rows.append(Reading(name, parse_length(f"{mm:.4f} mm", "mm"), name, tape=tape, **more))
    return Opening("W1", readings=tuple(rows))


def estimate(shift=0.0, candidates=(), u=1.0):
    values = np.append(SOUND + shift, 0.0)
    values[8] = values[6] - values[7]
    t = np.vstack([np.eye(8), np.eye(8)[6] - np.eye(8)[7]])
    cov = t @ (u**2 * np.eye(8) + 0.001**2 * np.outer(SOUND, SOUND)) @ t.T
    return Estimate(values, cov, np.zeros((9, 11)), np.zeros(9), {}, tuple(candidates), (), (), (), "photo")


def test_a_sound_tapered_opening_is_consistent_without_a_photo():
    check = cross_check(opening())
    assert (check.snooped.dof, check.snooped.rejected, check.with_photo) == (3, False, False)
    assert inconsistent_group(check) == ()
    assert warnings_of(check, (), "in") == ()


def test_a_slip_without_a_photo_names_the_pair_that_cannot_be_told_apart():
    assert inconsistent_group(cross_check(opening({"width_top": INCH}))) == ("width_top", "width_bottom")


def test_nothing_is_tested_without_readings_or_without_room_for_stations():
    assert cross_check(Opening("W1")) is None
    assert inconsistent_group(None) == ()
    assert warnings_of(None, (), "in") == ()
    small = Opening("W2", readings=(Reading("width_top", parse_length("120 mm", "mm"), "width_top"),))
    assert cross_check(small) is None


def test_a_length_that_no_opening_has_takes_no_part():
    wrong = opening({"width_top": 10_000.0})
    assert [r.name for r in sound_readings(wrong)] == list(STATIONS[1:])
    assert not cross_check(wrong, estimate()).snooped.rejected


def test_readings_by_two_crews_share_no_zero():
    mixed = opening(names=STATIONS[:3])
    other = opening(names=STATIONS[3:6], by="crew 5")
    both = Opening("W1", readings=(*mixed.readings, *other.readings))
    cov = cov_of_readings_mm2(list(both.readings), both)
    assert np.all(cov[:3, 3:] == 0.0)
    assert np.all(cov[:3, :3] > 0.0)


def test_each_reading_carries_the_mark_it_was_read_to():
    fine, coarse = opening(names=["width_top"], graduation_mm=1.0), opening(names=["width_top"], graduation_mm=12.7)
    u2 = [cov_of_readings_mm2(list(o.readings), o)[0, 0] for o in (fine, coarse)]
    assert u2[1] - u2[0] == pytest.approx((12.7**2 - 1.0) / 12)


def test_what_tilt_and_sag_add_is_taken_off_before_the_comparison():
    assert expected_lengths_mm(list(opening().readings))["width_top"] == pytest.approx(SOUND[0], abs=2e-3)


@pytest.mark.parametrize("name", ["width_top", "height_middle", "diagonal_up"])
def test_with_a_photo_the_reading_itself_is_named(name):
    check = cross_check(opening({name: INCH}), estimate())
    assert [o.group for o in check.snooped.outliers] == [(name,)]
    assert check.with_photo
    # Of a reading that the photo calls wrong already nothing more is said.
    assert warnings_of(check, (name,), "in") == ()
    assert [w.code for w in warnings_of(check, (), "in")] == ["joint-test"]


def test_of_readings_in_another_unit_nothing_is_said_of_the_photos_scale():
    """Centimetres put down as inches, 2.54 to 1: the photo's scale would explain them all at once, and does not."""
    wrong = opening(dict(zip(STATIONS, 1.54 * SOUND, strict=True)))
    check = cross_check(wrong, estimate())
    assert check.snooped.rejected
    assert warnings_of(check, STATIONS, "in", cross_check_without(wrong, estimate(), STATIONS)) == ()


def test_besides_a_wrong_reading_another_that_stands_out_is_named():
    wrong = opening({"width_top": INCH, "height_middle": 0.4 * INCH})
    others = cross_check_without(wrong, estimate(), ("width_top",))
    (warning,) = warnings_of(cross_check(wrong, estimate()), ("width_top",), "in", others)
    assert "esides" in warning.message
    assert "height, middle" in warning.message
    assert "width, top" not in warning.message
    # What a joint test that passes lets stand is not said beside a reading that differs.
    passing = cross_check(opening({"width_middle": 15.5}))
    assert passing.snooped.outliers
    assert warnings_of(passing, ("width_top",), "in", passing) == ()


def test_without_a_photo_a_failing_joint_test_is_the_verdict_and_no_warning_besides():
    # contract.md, Decision: without a photo `hold` by the joint test, which names the group.
    check = cross_check(opening({"width_top": INCH}))
    assert inconsistent_group(check) == ("width_top", "width_bottom")
    assert warnings_of(check, (), "in") == ()


def test_without_a_photo_a_pair_that_stands_out_is_said_beside_a_length_that_no_opening_has():
    """The verdict then names that length alone; contract, Decision: the tests of all readings explain and warn."""
    wrong = opening({"width_middle": 10_000.0, "height_left": INCH})
    others = cross_check_without(wrong, None, ("width_middle",))
    (warning,) = warnings_of(cross_check(wrong), ("width_middle",), "in", others)
    assert warning.message.startswith("Besides, the readings do not fit each other: either height, left")
    assert warnings_of(cross_check(opening()), ("width_middle",), "in", cross_check(opening())) == ()


def test_without_a_photo_a_reading_that_stands_out_of_a_joint_test_that_passes_is_named():
    """Baarda: the w-test finds single slips that the joint test, spread over all conditions, lets pass."""
    check = cross_check(opening({"width_middle": 15.5}))
    assert (check.snooped.rejected, [o.group for o in check.snooped.outliers]) == (False, [("width_middle",)])
    (warning,) = warnings_of(check, (), "in")
    assert warning.message.startswith("The readings do not fit each other: width, middle stands out")


def lower_sill(weight=0.2, shift=20.0):
    nine = np.zeros(9)
    nine[3:6] = shift
    nine[6:8] = shift * SHAPE[2] / SOUND[6]
    return Candidate("sill", weight, shift, nine, "foot")


def test_readings_that_fit_another_edge_of_the_photo_point_to_that_edge():
    lower = dict(zip(STATIONS, lower_sill().shift_nine_mm, strict=False))
    check = cross_check(opening(lower), estimate(0.0, [lower_sill()]))
    assert (check.edge.side, check.snooped.rejected, check.snooped.outliers) == ("sill", False, ())
    (warning,) = warnings_of(check, (), "mm")
    assert warning.code == "joint-test"
    assert "sill" in warning.message
    assert "20.0 mm" in warning.message


def test_an_edge_that_does_not_fit_either_is_not_named():
    check = cross_check(opening({"width_top": INCH}), estimate(0.0, [lower_sill()]))
    assert check.edge is None
    assert check.snooped.outliers[0].group == ("width_top",)


def test_an_edge_is_not_named_where_the_photo_fits_as_traced():
    assert cross_check(opening(), estimate(0.0, [lower_sill()])).edge is None


def test_a_photo_whose_measures_contradict_each_other_is_said_not_to_fit():
    # The middle width 40 mm less than the two others, which no bow of a few mm gives; nothing is read across.
    check = cross_check(opening(names=["height_left"]), estimate(np.array([0.0, -40.0, 0, 0, 0, 0, 0, 0]), u=0.2))
    assert check.snooped.rejected
    assert check.snooped.outliers == ()
    (warning,) = warnings_of(check, (), "in")
    assert warning.code == "joint-test"
    assert warning.message.startswith("Readings and photo do not fit together, and no single reading explains it")
    (besides,) = warnings_of(check, ("height_right",), "in", check)
    assert besides.message.startswith("Besides, the other readings and photo do not fit together, and no single")


def test_an_edge_that_would_leave_no_opening_is_passed_over():
    nine = np.array([-1250.0] * 3 + [0.0] * 3 + [-700.0] * 2 + [0.0])
    check = cross_check(opening({"width_top": INCH}), estimate(0.0, [Candidate("left", 0.2, -1250.0, nine, "sash")]))
    assert check.edge is None


@pytest.mark.slow
def test_sound_openings_without_a_photo_are_held_in_one_of_a_thousand():
    # Simulation of the tape model of design.md, bows and corners included; contract: level 0.001.
    rng = np.random.default_rng(5)
    bows = bow_effects(SHAPE)
    cov = readings_cov_mm2(SOUND, "class-2", [INCH / 16] * 8, "masonry") + 2 * BOW_U_MM**2 * bows @ bows.T
    cov[6:, 6:] += CORNER_U_MM**2 * np.eye(2)
    factor = np.linalg.cholesky(cov)
    trials, held = 2000, 0
    for _ in range(trials):
        off = dict(zip(STATIONS, factor @ rng.normal(size=8), strict=True))
        held += bool(inconsistent_group(cross_check(opening(off, graduation_mm=INCH / 16))))
    assert held <= 8  # P(more of 2000 at 0.001) = 2e-4, Poisson


def test_a_line_of_the_photo_that_stands_out_is_looked_at_in_the_picture():
    lower = np.array([0, 0, 0, 15, 15, 15, *2 * [15 * SHAPE[2] / SOUND[6]]], dtype=np.float64)
    check = cross_check(opening(), estimate(lower))
    (warning,) = warnings_of(check, (), "in")
    assert "head or sill as the photo sees it stands out" in warning.message
    assert "Look at the line in the picture" in warning.message
    assert "Read" not in warning.message.split("out.")[1]


def test_a_single_width_cannot_be_told_from_a_jamb_of_the_photo():
    check = cross_check(opening({"width_top": INCH}, names=["width_top", "height_left"]), estimate())
    (warning,) = warnings_of(check, (), "in")
    assert "which one cannot be told" in warning.message
    assert "Read it again. Look at the line" in warning.message


def test_a_photo_of_another_scale_asks_for_the_reference():
    (warning,) = warnings_of(cross_check(opening(), estimate(-0.02 * SOUND)), (), "in")
    assert "the scale of the photo stands out. Check the reference" in warning.message
