"""One photo's camera and sheet adjusted. Oracles: OpenCV for the pose, Monte Carlo for the covariance."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from vision.adjustment import adjust
from vision.camera import Camera, project
from vision.observations import (
    FIRST_REFERENCE,
    PER_REFERENCE,
    EdgeBlock,
    PhotoState,
    PriorBlock,
    point_block,
    reference_points,
)
from vision.priors import camera_blocks, camera_prior, reference_blocks, size_block
from vision.request import CheckBar, Reference
from vision.sheets import sheet
from vision.sheets.printed_edges import unit_edges
from vision.solving.solved import best_of
from vision.solving.start import start_states

MIDDLE = np.array([sheet.WIDTH_MM / 2, sheet.HEIGHT_MM / 2])
HALF = np.array([108.0, 140.0])


def true_state(turn=(0.15, -0.25, 0.05)):
    rotation = np.asarray(cv2.Rodrigues(np.array(turn))[0], float)
    camera = Camera(rotation, np.array([-500.0, -60.0, 2600.0]), 2850.0, 2030.0, 1500.0, 0.02, -0.004)
    references = np.zeros((2, PER_REFERENCE))
    references[1, :3] = [1250.0, 90.0, 0.03]
    references[:, 3:] = [[-0.8, 0.001, -0.002, 0.3, -0.2, 0.1], [0.6, -0.002, 0.001, -0.4, 0.3, -0.1]]
    return PhotoState(camera, np.array([0.001, -0.0005]), references)


PRIOR = camera_prior(2795.7, 0.02, (4032, 3024), known=True)


def prior_blocks():
    blocks = [*camera_blocks(PRIOR), size_block(Reference("sheet"), CheckBar())]
    return blocks + reference_blocks(2, "masonry", sheets=True, stiff=False)


def seen_edges(state, u_px=0.1, every=4):
    """Return the printed edges of both sheets as they would be seen without noise."""
    blocks = []
    for i in range(2):
        edges = unit_edges(i)
        middle, normal_mm = edges.middle_mm[::every] - MIDDLE, edges.normal[::every]
        pixel = project(state.camera, reference_points(state, i, middle, HALF)[0])
        out = project(state.camera, reference_points(state, i, middle + normal_mm, HALF)[0]) - pixel
        along = project(state.camera, reference_points(state, i, middle + edges.along[::every], HALF)[0]) - pixel
        normal = np.column_stack([-along[:, 1], along[:, 0]]) / np.linalg.norm(along, axis=1)[:, None]
        normal *= np.sign((out * normal).sum(1))[:, None]
        n = len(middle)
        pixel = pixel + state.references[i, 8] * normal
        blocks.append(EdgeBlock(i, middle, HALF, pixel, normal, np.full(n, u_px), np.ones(n)))
    return blocks


def noisy(blocks, state, rng):
    """Return the blocks as observed: truth plus errors of their own sd, in priors as in the picture."""
    drawn = []
    for b in blocks:
        if isinstance(b, PriorBlock):
            drawn.append(replace(b, value=state.vector()[b.index] + b.u * rng.normal(size=len(b.u))))
        else:
            drawn.append(replace(b, pixel=b.pixel + (b.u_px * rng.normal(size=len(b.u_px)))[:, None] * b.normal))
    return drawn


def test_along_the_valley_of_lens_and_distance_fifteen_steps_are_enough():
    """A lens known to 20 %, the wall seen nearly square, and a start with all of it longer and further off."""
    state, rng = true_state(turn=(0.02, -0.03, 0.05)), np.random.default_rng(2)
    known = [*camera_blocks(camera_prior(2795.7, 0.2, (4032, 3024), known=False)), *prior_blocks()[2:]]
    blocks = [*known, *noisy(seen_edges(state), state, rng)]
    off = np.zeros(state.unknowns)
    off[3:9] = *(0.2 * state.camera.translation_mm), 0.2, 60.0, -60.0
    few, many = (adjust(blocks, state.moved(off), iterations=n, near=True) for n in (15, 300))
    assert few.converged
    assert few.cost == pytest.approx(many.cost, abs=1e-2)
    assert few.state.camera.focal_px == pytest.approx(many.state.camera.focal_px, rel=1e-3)


def difference(a, b):
    """Return the increment (U,) that takes state b to state a."""
    head = cv2.Rodrigues(a.camera.rotation @ b.camera.rotation.T)[0].ravel()
    return np.concatenate([head, a.camera.translation_mm - b.camera.translation_mm, (a.vector() - b.vector())[6:]])


@pytest.mark.parametrize("quarter", [1, 2, 3])
def test_the_wall_stays_upright_where_the_first_sheet_hangs_on_its_side(quarter):
    """Oracle: the true camera, which looks at one wall however its sheets hang on it."""
    state, turn = true_state(), quarter * np.pi / 2
    references = state.references.copy()
    references[0, 2] = turn
    state = replace(state, references=references)
    corners = HALF * [[-1, -1], [1, -1], [1, 1], [-1, 1.0]]
    pixels = [project(state.camera, reference_points(state, i, corners, HALF)[0]) for i in range(2)]
    known = [*camera_blocks(PRIOR), size_block(Reference("sheet"), CheckBar())]
    known += reference_blocks(2, "masonry", sheets=True, stiff=False, turn_rad=turn)
    found = best_of([*known, *seen_edges(state)], start_states(PRIOR, [corners] * 2, pixels, turn)).state
    assert found.camera.rotation == pytest.approx(state.camera.rotation, abs=0.01)
    assert found.references[:, :3] == pytest.approx(state.references[:, :3], abs=3.0)
    assert found.references[0, 2] == pytest.approx(turn, abs=1e-6)


@pytest.fixture(scope="module")
def adjusted():
    state = true_state()
    blocks = [*prior_blocks(), *seen_edges(state)]
    return blocks, adjust(noisy(blocks, state, np.random.default_rng(3)), state)


def test_the_parts_of_the_covariance_sum_to_the_whole(adjusted):
    _, result = adjusted
    scale = np.sqrt(np.diag(result.covariance))
    total = sum(result.parts.values()) / np.outer(scale, scale)
    assert total == pytest.approx(result.covariance / np.outer(scale, scale), abs=1e-6)
    assert set(result.parts) == {
        "camera", "distortion", "print_scale", "wall_plane", "flatness", "reference_image", "gauge",
    }  # fmt: skip


def test_every_part_and_the_whole_are_symmetric_and_not_negative(adjusted):
    _, result = adjusted
    scale = np.sqrt(np.diag(result.covariance))
    for cov in (result.covariance, *result.parts.values()):
        scaled = cov / np.outer(scale, scale)
        assert scaled == pytest.approx(scaled.T, abs=1e-9)
        assert np.linalg.eigvalsh(scaled).min() > -1e-7


def test_the_spread_of_simulated_photos_is_the_covariance_stated():
    """Monte Carlo (JCGM 101) over picture noise and every prior: 100 photos, the sd of a sample sd is 7 %."""
    state, rng, trials = true_state(), np.random.default_rng(4), 100
    blocks = [*prior_blocks(), *(replace(b, robust=False) for b in seen_edges(state, every=16))]
    results = [adjust(noisy(blocks, state, rng), state) for _ in range(trials)]
    errors = np.array([difference(r.state, state) for r in results])
    ratio = errors.std(0) / np.sqrt(np.mean([np.diag(r.covariance) for r in results], axis=0))
    assert ratio.min() > 1 - 4 * 0.07
    assert ratio.max() < 1 + 4 * 0.07
    assert np.sqrt((ratio**2).mean()) == pytest.approx(1, abs=0.07)
    redundancy = sum(len(b.linearised(state)[0]) for b in blocks) - state.unknowns
    spread = np.sqrt(2 * redundancy / trials)
    assert np.mean([r.cost for r in results]) == pytest.approx(redundancy, abs=4 * spread)  # chi-square


def test_small_errors_fill_the_ellipsoid_of_the_whole_covariance():
    """Errors a tenth of the real ones, without second order: e' Q^-1 e is chi-square of all unknowns."""
    state, rng, trials = true_state(), np.random.default_rng(4), 40
    small = [replace(b, u=b.u / 10) for b in prior_blocks()]
    small += [replace(b, u_px=b.u_px / 10, robust=False) for b in seen_edges(state, every=16)]
    squares = []
    for _ in range(trials):
        result = adjust(noisy(small, state, rng), state)
        e = difference(result.state, state)
        squares.append(e @ np.linalg.solve(result.covariance, e))
    n = state.unknowns
    assert np.mean(squares) == pytest.approx(n, abs=4 * np.sqrt(2 * n / trials))


def test_the_order_of_observations_does_not_matter(adjusted):
    blocks, _ = adjusted
    rng = np.random.default_rng(5)
    shuffled = []
    for b in reversed(blocks):
        order = rng.permutation(len(b.u if isinstance(b, PriorBlock) else b.u_px))
        if isinstance(b, PriorBlock):
            shuffled.append(replace(b, index=b.index[order], value=b.value[order], u=b.u[order]))
        else:
            names = ("plane_mm", "pixel", "normal", "u_px", "polarity")
            shuffled.append(replace(b, **{k: getattr(b, k)[order] for k in names}))
    one, two = adjust(blocks, true_state()), adjust(shuffled, true_state())
    u = np.sqrt(np.diag(one.covariance))
    assert difference(one.state, two.state) / u == pytest.approx(np.zeros(len(u)), abs=1e-4)
    assert np.diag(two.covariance) == pytest.approx(u**2, rel=1e-4)


def test_one_more_observation_never_widens():
    state = true_state()
    blocks = [replace(b, value=state.vector()[b.index]) for b in prior_blocks()]  # all agree: the state stays
    blocks += [replace(b, robust=False) for b in seen_edges(state, every=16)]
    before = np.diag(adjust(blocks, state).covariance)
    for more in (
        PriorBlock(np.array([9]), np.array([state.camera.k1]), np.array([0.01]), "distortion"),
        PriorBlock(np.array([11]), np.array([state.size[0]]), np.array([0.0005]), "print_scale"),
        replace(seen_edges(state, every=61)[1], robust=False),
    ):
        assert (np.diag(adjust([*blocks, more], state).covariance) <= before * (1 + 1e-6)).all()


@pytest.mark.parametrize("axis", [0, 1, 2])
@pytest.mark.parametrize("degrees", [-30, 30])
def test_a_start_30_degrees_off_ends_at_the_same_place(axis, degrees):
    state = true_state((0.1, -0.1, 0.05))
    blocks = [*prior_blocks(), *seen_edges(state, every=8)]
    near = adjust(blocks, state)
    turn = np.zeros(3)
    turn[axis] = np.radians(degrees)
    off = replace(state.camera, rotation=state.camera.rotation @ cv2.Rodrigues(turn)[0])
    far = adjust(blocks, PhotoState(off, np.zeros(2), state.references))
    assert far.converged
    assert far.cost == pytest.approx(near.cost, rel=1e-3, abs=1e-2)
    u = np.sqrt(np.diag(near.covariance))
    assert np.abs(difference(far.state, near.state) / u).max() < 0.1


def test_the_pose_of_one_sheet_agrees_with_opencv():
    """Oracle: cv2.solvePnP, iterative, on noisy saddles with the interior held."""
    rng = np.random.default_rng(6)
    rotation = np.asarray(cv2.Rodrigues(np.array([0.3, -0.4, 0.1]))[0], float)
    camera = Camera(rotation, np.array([30.0, -20.0, 900.0]), 2800.0, 2015.5, 1511.5, 0.02, -0.004)
    state = PhotoState(camera, np.zeros(2), np.zeros((1, PER_REFERENCE)))
    plane = sheet.saddles_mm() - MIDDLE
    world = np.column_stack([plane, np.zeros(6)])
    pixel = project(camera, world) + 0.3 * rng.normal(size=(6, 2))
    held = np.arange(6, FIRST_REFERENCE + PER_REFERENCE)
    fixed = PriorBlock(held, state.vector()[held], np.full(len(held), 1e-9), "gauge")
    seen = replace(point_block(0, plane, HALF, pixel, 1e-3), robust=False)
    ours = adjust([fixed, seen], state).state.camera
    k = np.array([[2800.0, 0, 2015.5], [0, 2800.0, 1511.5], [0, 0, 1]])
    lens = np.array([0.02, -0.004, 0, 0])
    _, turn, shift = cv2.solvePnP(world, pixel, k, lens, flags=cv2.SOLVEPNP_ITERATIVE)
    turn, shift = cv2.solvePnPRefineLM(
        world, pixel, k, lens, turn, shift, (cv2.TERM_CRITERIA_MAX_ITER | cv2.TERM_CRITERIA_EPS, 100, 1e-14)
    )
    assert ours.rotation == pytest.approx(np.asarray(cv2.Rodrigues(turn)[0]), abs=1e-6)
    assert ours.translation_mm == pytest.approx(shift.ravel(), abs=2e-3)
