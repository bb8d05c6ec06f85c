"""Bricks told apart along a side: drawn walls have their joints and departures exactly where they were drawn."""

import numpy as np
import pytest
from scipy import ndimage

from fixtures.renderer.scene import Side as DrawnSide
from fixtures.renderer.truth import station
from vision.sides.laid_units import laid_units
from vision.sides.place import place_line
from vision.stations import LaidUnits, SideLine, local_edge
from vision.strips.profiles import Strip

REVEAL, BRICK, MORTAR = (0.05, 0.03, 0.025), np.array([0.30, 0.13, 0.08]), np.array([0.42, 0.39, 0.34])
U, V = np.arange(0.0, 1000.0, 1.0), np.arange(-30.0, 45.0, 0.5)


def drawn(pitch=75.0, joint=10.0, first=40.0, mortar=MORTAR, seed=1, gone=()):
    """Return a strip of one mm a pixel, the middles of its joints, and how far outward each brick stands."""
    rng = np.random.default_rng(seed)
    course = np.floor((U - first + joint / 2) / pitch).astype(int) - int(np.floor((joint / 2 - first) / pitch))
    out = rng.normal(0, 1.0, course.max() + 1)
    in_joint = np.mod(U - first + joint / 2, pitch) < joint
    edge = np.where(in_joint, 2.5, out[course])
    tone = np.exp(rng.normal(0, 0.16, len(out)))[course][:, None] * BRICK
    face = np.where(in_joint[:, None], mortar, tone)[:, None] * np.ones((1, len(V), 1))
    inside = np.broadcast_to(REVEAL, face.shape)
    for k in gone:
        inside = np.where((course == k)[:, None, None], face, inside)
    grain = 1 + 0.05 * ndimage.gaussian_filter(rng.normal(size=face.shape[:2]), 2) / 0.14
    colour = np.where((edge[:, None] < V)[..., None], face, inside) * grain[..., None]
    colour = ndimage.gaussian_filter(colour, (1.0, 2.0, 0)).astype(np.float32)
    strip = Strip(colour, U, V, np.zeros(2), np.array([1.0, 0]), np.array([0.0, 1]), 0.0, 1.0)
    return strip, np.arange(first % pitch, U[-1], pitch), out


def read(strip):
    return laid_units(strip, place_line(strip, np.zeros(3), 6.0, 6.0))


@pytest.mark.parametrize(("pitch", "joint"), [(67.7, 10.0), (75.0, 10.0), (60.0, 8.0), (81.3, 12.0)])
def test_each_brick_is_told_where_it_was_drawn(pitch, joint):
    """67.7 mm is three courses to 8 in, 75 mm four to 300 mm, 81.3 mm five to 16 in (handbook gauges)."""
    strip, joints, out = drawn(pitch, joint)
    units = read(strip)
    between = (units.ends_mm[1:, 0] + units.ends_mm[:-1, 1]) / 2
    assert np.abs(between - joints).max() < 2.0
    line = place_line(strip, np.zeros(3), 6.0, 6.0).shape
    t = 2 * units.ends_mm.mean(axis=1) / U[-1] - 1
    edge = units.local_mm + line[0] + line[1] * t
    assert np.sqrt(np.mean((edge - out[: len(edge)])[1:-1] ** 2)) < 0.25
    assert (units.u_mm[1:-1] < 0.5).all()


def test_dark_joints_tell_bricks_as_light_ones_do():
    strip, joints, _ = drawn(mortar=BRICK / 3)
    units = read(strip)
    assert np.abs((units.ends_mm[1:, 0] + units.ends_mm[:-1, 1]) / 2 - joints).max() < 2.0


def test_a_brick_of_the_tone_of_its_reveal_is_not_read():
    strip, _, _ = drawn(gone=(5,))
    units = read(strip)
    assert np.isnan(units.local_mm[5])
    assert np.isfinite(np.delete(units.local_mm, 5)).all()


@pytest.mark.parametrize("seed", range(8))
def test_a_face_without_joints_has_no_bricks(seed):
    strip, _, _ = drawn(seed=seed)
    rng = np.random.default_rng(seed)
    patches = 1 + 0.1 * ndimage.gaussian_filter(rng.normal(size=strip.colour.shape[:2]), 6) / 0.047
    colour = np.where((V > 0)[None, :, None], BRICK, np.array(REVEAL)) * patches[..., None]
    smooth = Strip(colour.astype(np.float32), U, V, strip.origin_mm, strip.direction, strip.normal, 0.0, 1.0)
    assert read(smooth) is None


def test_a_side_of_three_courses_is_too_short_to_tell():
    strip, _, _ = drawn()
    short = Strip(strip.colour[:190], U[:190], V, strip.origin_mm, strip.direction, strip.normal, 0.0, 1.0)
    assert read(short) is None


def test_a_strip_cut_off_beside_its_edge_has_no_bricks():
    strip, _, _ = drawn()
    placed = place_line(strip, np.zeros(3), 6.0, 6.0)
    narrow = Strip(strip.colour[:, :62], U, V[:62], strip.origin_mm, strip.direction, strip.normal, 0.0, 1.0)
    assert laid_units(narrow, placed) is None


def test_a_side_seen_from_its_other_end_has_the_same_bricks():
    strip, _, _ = drawn()
    turned = Strip(strip.colour[::-1], U, V, strip.origin_mm, strip.direction, strip.normal, 0.0, 1.0)
    one, two = read(strip), read(turned)
    assert two.ends_mm[::-1, ::-1] == pytest.approx(U[-1] - one.ends_mm, abs=1.0)
    assert two.local_mm[::-1] == pytest.approx(one.local_mm, abs=0.15)


@pytest.mark.parametrize(
    "at", [100.0, 205.0, 331.0, 444.4, 90.0, 165.0, 240.0, 315.0, 387.5, 466.0, 540.0, 617.5, 691.0, 765.0]
)
def test_a_tape_stops_where_the_contract_says(at):
    """Contract, local edges, as the renderer's truth works them out; from 90 on the blade lies over a joint."""
    rng = np.random.default_rng(4)
    pitch, joint, phase = 75.0, 10.0, 20.0
    inward = rng.normal(0, 1.5, 64)
    side = DrawnSide(
        np.zeros(2), np.array([1000.0, 0.0]), units_mm=inward, pitch_mm=pitch, joint_mm=joint, phase_mm=phase
    )
    start = phase + pitch * np.arange(13)
    units = LaidUnits(np.column_stack([start, start + pitch - joint]), -inward[:13], np.full(13, 0.1))
    none = np.zeros(0)
    line = SideLine("head", np.zeros((2, 2)), 0.0, none, none, np.zeros((2, 2)), 0.2, 1.0, 0.0, units=units)
    touched = station(side, np.array([at, 0.0]))
    assert local_edge(line, at) == pytest.approx((-(touched - [at, 0.0]) @ side.inward, 0.1), abs=1e-9)
