"""Sills drawn from geometry: a box before a wall, seen by a pinhole camera.

Oracle: OpenCV's projectPoints for the corners of the box, areas by 4 x 4 samples a pixel.
"""

from __future__ import annotations

import cv2
import numpy as np

from vision.camera import Camera

WALL, STONE = (0.25, 0.10, 0.06), (0.45, 0.44, 0.41)  # linear light
WIDTH, OUT, LONG, HIGH = 1000.0, 40.0, 70.0, 70.0  # opening, projection, beyond the jamb, front's height, mm
PX_MM = 0.7  # px a mm


def camera_at(x, y, above_px=120):
    """Return a camera 2.5 m before the plane of the jambs, x mm right and y mm above of the sill's middle."""
    focal = 2500 * PX_MM
    return Camera(np.eye(3), np.array([-x, y, 2500.0]), focal, 460.0 + PX_MM * x, above_px - PX_MM * y)


def drawn(camera, top=STONE, front=STONE, wall=WALL, fall=0.0, seed=None, out=OUT, opening=None, above_px=120):
    """Return a photo (above_px + 120, 920, 3) of a box whose front arris is y = 0, z = -out, on a wall at z = 0.

    z leads into the wall. `opening`: the colour of an opening in the wall above the box; None: there is none.
    """
    half = WIDTH / 2 + LONG
    rise = -out * np.tan(np.deg2rad(fall))
    box = np.array([[-half, 0, -out], [half, 0, -out], [half, HIGH, -out], [-half, HIGH, -out]])
    lid = np.array([[-half, 0, -out], [half, 0, -out], [half, rise, 0], [-half, rise, 0]])
    k = np.array([[camera.focal_px, 0, camera.cx], [0, camera.focal_px, camera.cy], [0, 0, 1.0]])
    n, tall = 4, above_px + 120
    photo = np.empty((tall * n, 920 * n, 3), np.float32)
    photo[:] = wall
    w = WIDTH / 2
    hole = np.array([[-w, -800.0, 0], [w, -800.0, 0], [w, rise, 0], [-w, rise, 0]])
    faces = ((hole, opening),) if opening is not None else ()
    for face, colour in (*faces, (lid, top), (box, front)):
        px = cv2.projectPoints(face, np.zeros(3), camera.translation_mm, k, np.zeros(4))[0].reshape(-1, 2)
        cv2.fillConvexPoly(photo, np.round((px + 0.5) * n - 0.5).astype(np.int32), tuple(map(float, colour)))
    light = photo.reshape(tall, n, 920, n, 3).mean(axis=(1, 3))
    light = cv2.GaussianBlur(light, (0, 0), 0.6)
    if seed is not None:
        light = light + np.random.default_rng(seed).normal(0, 0.004, light.shape)
    srgb = 1.055 * np.clip(light, 0, 1) ** (1 / 2.4) - 0.055  # IEC 61966-2-1
    return np.round(255 * np.clip(srgb, 0, 1)).astype(np.uint8)
