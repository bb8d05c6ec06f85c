"""Facts about the end of a head, on drawn corners whose arris is known exactly."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from vision.camera import Camera
from vision.sides.jamb_ends import HeadEnd, head_end, unseen_share

WALL, SOFFIT = 0.5, 0.05


def drawn_corner(side, slant):
    """Return camera and photo (300, 300, 3) at 1 mm/px: wall, dark soffit, a reveal as light as the wall.

    The opening's corner lies at (150, 150) px; soffit and reveal part along a line that runs `slant` px inward for
    each px down. Drawn at 8 samples a pixel each way and averaged, which is a pixel's own blur exactly.
    """
    n = 8
    y, x = (np.mgrid[0 : 300 * n, 0 : 300 * n] + 0.5) / n - 0.5
    inward = (x - 150) * (1 if side == "left" else -1)
    light = np.where((y > 150) & (inward > slant * (y - 150)), SOFFIT, WALL)
    light = light.reshape(300, n, 300, n).mean(axis=(1, 3))
    srgb = 1.055 * light ** (1 / 2.4) - 0.055  # IEC 61966-2-1
    photo = np.repeat(np.round(255 * srgb).astype(np.uint8)[..., None], 3, axis=2)
    return Camera(np.eye(3), np.array([0.0, 0.0, 1000.0]), 1000.0, 150.0, 150.0), photo


@pytest.mark.parametrize("side", ["left", "right"])
@pytest.mark.parametrize("slant", [0.0, 0.5, 1.0])
@pytest.mark.parametrize("off", [-2.0, 0.0, 3.0])
def test_the_arris_is_told_where_wall_and_reveal_are_of_one_tone(side, slant, off):
    camera, photo = drawn_corner(side, slant)
    corner = np.array([off if side == "left" else -off, 0.0])  # that far inside of the true one
    end = head_end(photo, camera, corner, np.array([1.0, 0.0]), side, 0.0, "siding")
    assert end is not None
    assert_allclose(end.offset_mm, off, rtol=0, atol=0.3)


def test_where_nothing_changes_along_the_head_nothing_is_told():
    camera, photo = drawn_corner("left", 0.0)
    assert head_end(photo, camera, np.array([70.0, -60.0]), np.array([1.0, 0.0]), "left", 0.0, "siding") is None


def test_brick_is_not_judged_by_one_bricks_end():
    camera, photo = drawn_corner("left", 0.0)
    assert head_end(photo, camera, np.zeros(2), np.array([1.0, 0.0]), "left", 0.0, "masonry") is None


def test_doubt_grows_with_the_distance_and_a_reading_inside_tells_nothing():
    end = HeadEnd(0.0, 0.7)
    shares = [unseen_share(0.99, off, end) for off in (1.2, 2.0, 3.0, 5.0)]
    assert shares == sorted(shares)
    assert shares[0] < 0.03  # within the uncertainty of the reading: less than before it
    assert shares[-1] > 0.5
    assert unseen_share(0.99, -5.0, end) == 0
