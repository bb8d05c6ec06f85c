"""Pictures of sheets drawn from OpenCV's board generator, apart from the fixtures' renderer."""

from __future__ import annotations

import cv2
import numpy as np

PER_MM = 4  # pixels a millimetre of the drawn page: a marker's cell is 30 px
MARGIN_MM = 18
WORDS = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)


def page(letter, grown_mm=0.0):
    """Return the page, 0 black to 1 white; black grown into white by `grown_mm` (a multiple of 0.25)."""
    board = cv2.aruco.CharucoBoard((3, 4), 60, 45, WORDS, np.arange(6) + 6 * letter)
    size = ((180 + 2 * MARGIN_MM) * PER_MM, (240 + 2 * MARGIN_MM) * PER_MM)
    drawn = np.asarray(board.generateImage(size, marginSize=MARGIN_MM * PER_MM))
    steps = round(grown_mm * PER_MM)
    if steps:
        drawn = cv2.erode(drawn, np.ones((2 * steps + 1, 2 * steps + 1), np.uint8), borderValue=255)
    return (drawn > 127).astype(np.float32)


def view(at_px, px_per_mm, turn_deg=0.0, slant=(0.0, 0.0)):
    """Return the homography mm -> px of a sheet, its middle at `at_px`; slant is perspective a mm."""
    c, s = np.cos(np.radians(turn_deg)) * px_per_mm, np.sin(np.radians(turn_deg)) * px_per_mm
    into = np.array([[1, 0, -90.0], [0, 1, -120.0], [0, 0, 1]])
    h = np.array([[c, -s, 0], [s, c, 0], [*slant, 1]])
    return np.array([[1, 0, at_px[0]], [0, 1, at_px[1]], [0, 0, 1.0]]) @ h @ into


def mapped(h, points):
    q = np.column_stack([points, np.ones(len(points))]) @ h.T
    return q[:, :2] / q[:, 2:]


def picture(sheets, size=(800, 640), *, fine=4, psf=0.7, noise=0.004, light=1.0, seed=1, grown_mm=0.0):
    """Return a grey photo (H, W) uint8 of sheets (letter, homography) on a grey wall.

    Drawn `fine` times finer, averaged, blurred by `psf` px, with noise of `noise` of full light; `light`
    may be an array (H, W) of shadows.
    """
    w, h = size
    page_mm = np.array([[PER_MM, 0, MARGIN_MM * PER_MM - 0.5], [0, PER_MM, MARGIN_MM * PER_MM - 0.5], [0, 0, 1.0]])
    seen = np.full((h, w), 0.3)
    for letter, homography in sheets:
        m = MARGIN_MM + 1
        rim = mapped(homography, np.array([[-m, -m], [180 + m, -m], [180 + m, 240 + m], [-m, 240 + m]]))
        x0, y0 = np.clip(np.floor(rim.min(0)).astype(int), 0, [w, h])
        x1, y1 = np.clip(np.ceil(rim.max(0)).astype(int) + 1, 0, [w, h])
        if x1 <= x0 or y1 <= y0:
            continue
        drawn = 0.03 + 0.77 * page(letter, grown_mm)
        fine_px = [[fine, 0, (fine - 1) / 2 - fine * x0], [0, fine, (fine - 1) / 2 - fine * y0], [0, 0, 1]]
        into = np.array(fine_px) @ homography @ np.linalg.inv(page_mm)
        part = ((x1 - x0) * fine, (y1 - y0) * fine)
        where = cv2.warpPerspective(np.ones_like(drawn), into, part)
        laid = cv2.warpPerspective(drawn, into, part, borderMode=cv2.BORDER_REPLICATE)
        blocks = (y1 - y0, fine, x1 - x0, fine)
        paper, share = ((a.reshape(blocks).mean((1, 3))) for a in (laid * where, where))
        seen[y0:y1, x0:x1] = seen[y0:y1, x0:x1] * (1 - share) + paper
    seen = seen * light
    seen = cv2.GaussianBlur(seen.astype(np.float32), (0, 0), psf)
    seen = np.clip(seen + noise * np.random.default_rng(seed).standard_normal(seen.shape), 0, 1)
    coded = np.where(seen <= 0.0031308, 12.92 * seen, 1.055 * seen ** (1 / 2.4) - 0.055)  # IEC 61966-2-1
    return np.rint(255 * coded).astype(np.uint8)
