"""What of a side's departures is believed; the oracle is the normal-normal posterior, by simulation from the prior."""

from dataclasses import replace

import numpy as np
import pytest

from vision.sides.finding import FailedSide
from vision.sides.roughness import ROUGH_LEVEL_MM, ROUGH_MM, ROUGH_PIECE_MM, believed, believed_units, roughness_mm
from vision.sides.tracing import SideTrace
from vision.stations import LaidUnits

S = np.linspace(-600, 600, 4001)


def trace(local, side="sill", depth=0.0, u_local=0.1, bow=0.0):
    return SideTrace(
        side, depth, np.zeros(2), np.array([1.0, 0.0]), np.eye(2), bow, S[: len(local)], local, u_local, 1.0, 1.0,
        False, (),
    )  # fmt: skip


@pytest.mark.parametrize(("rough", "noise"), [(0.5, 2.0), (1.0, 1.0), (1.5, 1.0)])
def test_local_edges_drawn_from_prior_and_noise_miss_the_wall_by_as_much_as_stated(rough, noise):
    rng = np.random.default_rng(3)
    wall = rng.normal(0, rough, len(S))
    local, u, _ = believed(trace(wall + rng.normal(0, noise, len(S)), u_local=noise), rough)
    assert np.std(local - wall) == pytest.approx(1 / np.sqrt(rough**-2 + noise**-2), rel=0.05)
    assert u == pytest.approx(np.std(local - wall), rel=0.05)


def test_a_smooth_sharp_side_is_believed_as_traced():
    wall = 0.4 * np.sin(S / 40)
    local, u, scatter = believed(trace(wall, u_local=0.05), 1.0)
    assert np.abs(local - wall).max() < 0.003
    assert u == pytest.approx(0.05, rel=0.01)
    assert scatter == pytest.approx(1.0, rel=0.01)


def test_a_bow_that_is_evident_is_kept_whole():
    bowed = -6.0 * ((S / 600) ** 2 - 1 / 3)
    noise = np.random.default_rng(1).normal(0, 3, len(S))
    local, _, _ = believed(trace(bowed + noise, u_local=3.0, bow=6.0), 0.5)
    assert np.std(local - bowed) < 0.1
    assert np.std(believed(trace(bowed + noise, u_local=3.0), 0.5)[0] - bowed) > 1.0


def test_an_unseen_side_has_nothing_to_believe():
    empty = replace(trace(np.zeros(0)), scatter_mm=0.3)
    assert believed(empty, 1.0)[1:] == (0.1, 0.3)


def test_jambs_are_rougher_than_heads_and_a_projecting_sill_is_one_piece():
    flush = {s: trace(S, s) for s in ("head", "right", "sill", "left")}
    assert roughness_mm("left", flush) == ROUGH_MM
    assert roughness_mm("head", flush) == roughness_mm("sill", flush) == ROUGH_LEVEL_MM
    assert roughness_mm("sill", flush | {"sill": trace(S, "sill", depth=-30.0)}) == ROUGH_PIECE_MM
    assert roughness_mm("sill", {"sill": FailedSide("sill", "gone")}) == ROUGH_LEVEL_MM


def test_bricks_drawn_from_prior_and_readings_astray_miss_the_wall_by_as_much_as_stated():
    """Readings are drawn as the mixture says; the posterior is then calibrated, and truer than the readings."""
    rng = np.random.default_rng(7)
    rough, errors, stated, raw = 1.0, [], [], []
    ends = np.column_stack([np.arange(16) * 75.0, np.arange(16) * 75.0 + 65.0]) - 600
    for _ in range(150):
        bow = rng.normal(0, 2.0)
        wall = rng.normal(0, rough, 16) - bow * ((ends.mean(1) / 600) ** 2 - 1 / 3)
        u = rng.uniform(0.1, 0.5, 16)
        astray = rng.random(16) < 0.05
        read = wall + rng.normal(0, np.where(astray, 2.5, u))
        read[rng.random(16) < 0.05] = np.nan
        units = believed_units(replace(trace(S * 0), units=LaidUnits(ends, read, u)), rough)
        errors.append(units.local_mm - wall)
        stated.append(units.u_mm)
        raw.append(read - wall)
    ratio = np.array(errors) / np.array(stated)
    assert np.sqrt(np.mean(ratio**2)) == pytest.approx(1.0, abs=0.15)
    assert np.mean(np.abs(ratio) < 2) == pytest.approx(0.95, abs=0.03)
    assert np.std(errors) < 0.9 * np.nanstd(raw)


def test_a_brick_that_is_not_seen_has_what_the_others_show():
    ends = np.column_stack([np.arange(12) * 75.0, np.arange(12) * 75.0 + 65.0]) - 450
    read = np.array([0.4, -0.3, 0.2, -0.4, np.nan, 0.1, -0.2, 0.3, 0.0, -0.1, 0.2, -0.2])
    units = believed_units(replace(trace(S * 0), units=LaidUnits(ends, read, np.full(12, 0.1))), 1.5)
    assert abs(units.local_mm[4]) < 0.3
    assert 0.3 < units.u_mm[4] < 1.5
    assert units.u_mm[4] > 2 * units.u_mm[5]


def test_a_side_without_courses_has_no_bricks_to_believe():
    assert believed_units(trace(S), 1.0) is None
