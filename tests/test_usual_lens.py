"""A focal length that no file names; oracles: the posterior integrated numerically, and the answer of both extremes."""

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import norm

from vision.adjustment import adjust
from vision.camera import Camera
from vision.lens.usual import LOG_FOCAL, with_usual_lens
from vision.lens.usual import mixed as mixed_posterior
from vision.observations import PhotoState, PriorBlock
from vision.photo.exif import FULL_FRAME_DIAGONAL_MM
from vision.priors import camera_blocks, camera_prior
from vision.solving.solved import Solved

SIZE = (1600, 1200)
USUAL_PX = 26.0 * np.hypot(*SIZE) / FULL_FRAME_DIAGONAL_MM


@pytest.mark.parametrize("value", [-0.7, -0.2, 0.05, 0.4])
@pytest.mark.parametrize("u", [0.05, 0.3])
def test_mean_and_deviation_are_those_of_the_posterior_integrated_numerically(value, u):
    components = ((0.9, 0.0, 0.08), (0.1, 0.1, 0.35))

    def density(x):
        return norm.pdf(value, x, u) * sum(w * norm.pdf(x, m, s) for w, m, s in components)

    moments = [quad(lambda x, k=k: x**k * density(x), -3, 3, points=[0, value], limit=400)[0] for k in range(3)]
    mean = moments[1] / moments[0]
    found = mixed_posterior((value, u), components)
    assert found[0] == pytest.approx(mean, abs=1e-5)
    assert found[1] == pytest.approx(np.sqrt(moments[2] / moments[0] - mean**2), rel=1e-4)


def solved(focal_px, u_log, *, known=False):
    """Return a photo whose references say `focal_px` with `u_log`, all else as given."""
    prior = camera_prior(28 * np.hypot(*SIZE) / FULL_FRAME_DIAGONAL_MM, 0.35, SIZE, known=known)
    start = PhotoState(
        Camera(np.eye(3), np.array([0, 0, 3000.0]), focal_px, 799.5, 599.5), np.zeros(2), np.zeros((0, 9))
    )
    rest = np.delete(np.arange(15), LOG_FOCAL)
    blocks = (
        *camera_blocks(prior),
        PriorBlock(np.array([LOG_FOCAL]), np.log([focal_px]), np.array([u_log]), "reference_image"),
        PriorBlock(rest[:6], np.zeros(6), np.full(6, 0.1), "reference_image"),
        PriorBlock(rest[10:], np.zeros(len(rest) - 10), np.full(len(rest) - 10, 0.1), "reference_image"),
    )
    return Solved(adjust(blocks, start), ("A",), (np.zeros((4, 2)),), (), 0.1, blocks), prior


def test_a_phone_is_believed_and_u_of_the_focal_length_shrinks():
    by, prior = solved(USUAL_PX * 1.1, 0.2)
    again = with_usual_lens(by, prior, SIZE)
    camera, u = again.adjusted.state.camera, np.sqrt(again.adjusted.covariance[LOG_FOCAL, LOG_FOCAL])
    assert USUAL_PX < camera.focal_px < 1.06 * USUAL_PX
    assert 0.07 < u < 0.12


def test_only_the_focal_length_becomes_better_known():
    by, prior = solved(USUAL_PX * 1.1, 0.2)
    again = with_usual_lens(by, prior, SIZE)
    before, after = (np.sqrt(np.diag(x.adjusted.covariance)) for x in (by, again))
    others = np.delete(np.arange(len(before)), LOG_FOCAL)
    np.testing.assert_allclose(after[others], before[others], rtol=1e-6)  # priors of centre and distortion count once


def test_another_lens_that_the_references_show_is_left_alone():
    by, prior = solved(USUAL_PX * 0.5, 0.05)
    again = with_usual_lens(by, prior, SIZE)
    assert again.adjusted.state.camera.focal_px == pytest.approx(by.adjusted.state.camera.focal_px, rel=0.005)


def test_a_named_focal_length_or_a_blind_reference_changes_nothing():
    by, prior = solved(USUAL_PX * 1.1, 0.2, known=True)
    assert with_usual_lens(by, prior, SIZE) is by
    by, prior = solved(USUAL_PX * 1.1, 0.8)
    assert with_usual_lens(by, prior, SIZE) is by
