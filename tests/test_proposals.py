"""Photos proposed for openings. Oracles: Bayes' rule by hand, and simulated openings whose photo is known."""

from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest

from sizing.intake.proposals import GAP, LEAST_SURE, Proposal, Taken, by_fit, by_time, groups_by_time, loosened, twins
from sizing.jobs.job import READINGS, Opening, Reading
from sizing.units import parse_length
from vision.request import Estimate


def taken(*minutes):
    return [Taken(f"{i}.jpg", f"2026-05-04T10:{int(m):02}:{round(m % 1 * 60):02}") for i, m in enumerate(minutes)]


def opening(label, sizes_mm):
    values = zip(READINGS, sizes_mm, strict=False)
    return Opening(label, readings=tuple(Reading(n, parse_length(f"{v:.1f} mm", "mm"), n) for n, v in values))


def sizes(width, height, rng=None):
    jitter = np.zeros(6) if rng is None else rng.normal(0, 3, 6)
    diagonal = np.hypot(width, height)
    return [*(width + jitter[:3]), *(height + jitter[3:]), diagonal, diagonal]


def estimate(sizes_mm, u_mm=1.5):
    values = np.append(sizes_mm, 0.0)
    cov = np.diag(np.full(9, u_mm**2))
    return Estimate(values, cov, np.zeros((9, 11)), np.zeros(9), {}, (), (), (), (), "photo")


def test_pauses_part_photos_into_groups_whatever_order_they_come_in():
    photos = taken(0, 0.5, 3, 3.4, 9)
    groups = groups_by_time(photos[::-1])
    assert [[p.photo for p in g] for g in groups] == [["0.jpg", "1.jpg"], ["2.jpg", "3.jpg"], ["4.jpg"]]
    assert len(groups_by_time(photos, timedelta(hours=1))) == 1


def test_photos_without_a_time_of_the_camera_are_in_no_group():
    assert groups_by_time([Taken("a.jpg", None), Taken("b.jpg", "soon")]) == ()


def test_a_photo_beside_those_of_one_opening_is_proposed_for_it():
    (found,) = by_time(taken(0, 0.25, 9), {"0.jpg": ["W1"]}, ["W1", "W2"])
    assert (found.photo, found.label, found.basis, found.beside, found.gap_s) == ("1.jpg", "W1", "time", "0.jpg", 15)
    assert found.probability is None


def test_beside_photos_of_two_openings_nothing_is_proposed():
    assert by_time(taken(0, 0.2, 0.4), {"0.jpg": ["W1"], "2.jpg": ["W2"]}, ["W1", "W2"]) == ()


def test_as_many_groups_as_openings_are_proposed_in_order_only_while_nothing_is_given():
    photos = taken(0, 0.3, 5)
    assert [(p.photo, p.label) for p in by_time(photos, {}, ["W1", "W2"])] == [
        ("0.jpg", "W1"), ("1.jpg", "W1"), ("2.jpg", "W2"),
    ]  # fmt: skip
    assert by_time(photos, {}, ["W1", "W2", "W3"]) == ()
    assert by_time(photos, {"2.jpg": ["W2"]}, ["W1", "W2"]) == ()
    assert by_time(taken(0), {}, ["W1"]) == ()


def test_the_gap_itself_does_not_part():
    assert len(groups_by_time(taken(0, GAP.total_seconds() / 60))) == 1


def test_the_opening_that_the_photo_shows_is_proposed_nearly_surely():
    openings = [opening("W1", sizes(900, 1200)), opening("W2", sizes(940, 1200)), opening("W3", sizes(1500, 900))]
    (found,) = by_fit("a.jpg", estimate(sizes(940, 1200)), openings)
    assert (found.label, found.basis) == ("W2", "fit")
    assert found.probability > 0.999


def test_one_slip_of_the_tape_does_not_hide_it():
    said = sizes(940, 1200)
    said[1] += 25.4  # a burned inch
    (found,) = by_fit("a.jpg", estimate(sizes(940, 1200)), [opening("W1", sizes(900, 1200)), opening("W2", said)])
    assert found.label == "W2"
    assert found.probability > 0.9
    assert found.off == ("width_middle",)


def test_readings_that_the_photo_does_not_bear_out_are_named_beside_the_likeliest_opening():
    # Two widths a metre short, the other readings right: no other opening has these, yet a quarter does not fit.
    said = sizes(1900, 1200)
    said[0] = said[2] = 900.0
    openings = [opening("W1", said), opening("W2", sizes(1300, 700))]
    (found,) = by_fit("a.jpg", estimate(sizes(1900, 1200)), openings)
    assert found.label == "W1"
    assert found.off == ("width_top", "width_bottom")
    (sound,) = by_fit("a.jpg", estimate(sizes(1300, 700)), openings)
    assert sound.off == ()
    # 10 mm is less than half an inch, and 42 mm less than three standard uncertainties of an outline that may be a
    # frame (3 * sqrt(2) * 30 mm): neither is far off.
    near = sizes(1300, 700)
    near[0] += 10
    assert by_fit("a.jpg", estimate(near), openings)[0].off == ()
    assert by_fit("a.jpg", loosened(estimate(sizes(1342, 742))), openings)[0].off == ()


def test_a_photo_of_another_opening_is_proposed_for_none():
    assert by_fit("a.jpg", estimate(sizes(700, 1000)), [opening("W1", sizes(900, 1200))]) == ()


def test_openings_of_one_size_cannot_be_told_apart_and_are_named():
    openings = [opening("W1", sizes(900, 1200)), opening("W2", sizes(900, 1200)), opening("W3", sizes(1500, 900))]
    shown = estimate(sizes(900, 1200))
    # Bayes: two equal hypotheses share all but nothing of the probability, so that neither passes a half for sure.
    assert all(p.probability <= LEAST_SURE + 1e-6 for p in by_fit("a.jpg", shown, openings))
    assert twins("a.jpg", shown, openings) == ("W1", "W2")
    assert twins("a.jpg", estimate(sizes(1500, 900)), openings) == ()


def test_without_three_readings_nothing_is_proposed():
    assert by_fit("a.jpg", estimate(sizes(900, 1200)), [opening("W1", [900.0, 900.0])]) == ()


def test_what_is_proposed_as_sure_is_right_that_often():
    rng = np.random.default_rng(7)
    made = right = sure = 0
    for _ in range(120):
        shapes = [(w, h) for w, h in zip(rng.uniform(600, 1800, 6), rng.uniform(600, 1800, 6), strict=True)]
        shapes[1] = (shapes[0][0] + rng.normal(0, 6), shapes[0][1] + rng.normal(0, 6))  # near twins are common
        shows = int(rng.integers(0, 7))  # 6: none of them
        whole = [sizes(w, h, rng) for w, h in shapes]
        truth = whole[shows] if shows < 6 else sizes(*rng.uniform(600, 1800, 2), rng)
        photo = estimate(np.asarray(truth) + rng.normal(0, 1.5, 8))
        openings = [opening(f"W{i}", np.asarray(s) + rng.normal(0, 0.8, 8)) for i, s in enumerate(whole)]
        for found in by_fit("a.jpg", photo, openings)[:1]:
            made += 1
            sure += found.probability
            right += found.label == f"W{shows}"
    assert made > 80
    # Binomial, three standard deviations below what the probabilities promise.
    assert right >= sure - 3 * np.sqrt(max(sure * (1 - sure / made), 1.0))


def test_a_proposal_says_nothing_more_than_it_knows():
    assert Proposal("a.jpg", "W1", "time").probability is None


@pytest.mark.slow
def test_the_demo_photo_fits_its_own_opening():
    from sizing.jobs.file import load_job
    from vision.estimate import estimate_opening
    from vision.request import OpeningRequest, PhotoRequest

    demo = Path(__file__).parent.parent / "fixtures" / "demo"
    openings = load_job(demo).openings
    listed = openings[3].photos[0]
    request = OpeningRequest((PhotoRequest(demo / "w4.jpg", corners_px=listed.corners_px),), "siding")
    (found,) = by_fit("w4.jpg", estimate_opening(request), openings)
    assert found.label == "W4"


def test_an_unconfirmed_outline_tells_openings_apart_by_what_a_frame_may_hide_and_no_finer():
    # Frame instead of edge: 25 mm a side, so 50 mm in width and height.
    photo = loosened(estimate(np.array(sizes(850, 1150))))
    wide, near = opening("W1", sizes(900, 1200)), opening("W2", sizes(870, 1180))
    other = opening("W3", sizes(1300, 1000))
    (found,) = by_fit("a.jpg", photo, [wide, other])
    assert found.label == "W1"
    assert 0.5 < found.probability < 1
    assert by_fit("a.jpg", photo, [other]) == ()
    (unsure,) = by_fit("a.jpg", photo, [wide, near, other])
    assert unsure.probability < 0.9


def test_an_outline_moved_by_another_line_on_one_side_stays_within_the_loosened_measures():
    # A side 30 mm further out moves all widths together and the diagonals by the width's share: three standard
    # uncertainties hold it (normal distribution).
    exact = estimate(np.array(sizes(900, 1200)), u_mm=1e-3)
    moved = np.zeros(9)
    moved[:3], moved[6:8] = 30.0, 30.0 * 900 / np.hypot(900, 1200)
    left_out = moved @ np.linalg.pinv(loosened(exact).cov_mm2, hermitian=True, rcond=1e-12) @ moved
    assert left_out < 9


def test_the_desk_asks_for_as_many_readings_as_the_comparison_needs():
    from sizing.crosscheck.assignment import LEAST_READINGS
    from sizing.desk import proposing

    assert proposing.LEAST_READINGS == LEAST_READINGS
