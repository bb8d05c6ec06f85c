"""One camera: projection of wall points to pixels, its Jacobian, and the way back to a plane.

Model: pinhole with two radial coefficients as in OpenCV (k1, k2; no tangential part); frames as in `vision.request`.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from vision.request import Array

FAR = 4.0  # tangent of 76 degrees from the axis: no camera of this model sees further
MOST_LONGER = 0.5  # of log focal length and log scale at once: further is no step but a jump
IN_FRONT_MM = 1.0  # the wall's origin nearer than this, or behind: its place in the photo is none
UNKNOWNS = 11  # rotation increment (3), translation (3), log focal, cx, cy, k1, k2


@dataclass(frozen=True, slots=True, eq=False)
class Camera:
    """Pose of the wall in the camera (X_c = R X + t, mm) and the interior: focal length, principal point, k1, k2."""

    rotation: Array
    translation_mm: Array
    focal_px: float
    cx: float
    cy: float
    k1: float = 0.0
    k2: float = 0.0

    def moved(self, d: Array) -> Camera:
        """Return the camera after the increment `d` (11,); the rotation increment acts from the left.

        Notes
        -----
        To first order the translation moves by d[3:6]. A longer lens further off shows nearly the same, and so does a
        principal point moved with the camera turned: adjustments go far along such valleys, which are curved in mm. So
        the step is taken straight in what the photo shows of them, the wall's origin in px and the log of its scale.
        """
        turn, _ = cv2.Rodrigues(np.asarray(d[:3], float))
        longer = float(np.clip(d[6], -MOST_LONGER, MOST_LONGER))
        focal, principal = self.focal_px * np.exp(longer), np.array([self.cx, self.cy]) + d[7:9]
        if self.translation_mm[2] < IN_FRONT_MM:
            translation = self.translation_mm + d[3:6]
        else:
            (x, y, z), at = self.translation_mm, self._origin_px()
            further = float(d[5] / z - d[6])
            at = at + self.focal_px / z * (d[3:5] - np.array([x, y]) * further) + d[7:9]
            depth = z * np.exp(np.clip(further, -MOST_LONGER, MOST_LONGER) + longer)
            translation = np.array([*((at - principal) * depth / focal), depth])
        return Camera(
            np.asarray(turn, float) @ self.rotation,
            translation,
            float(focal),
            float(principal[0]),
            float(principal[1]),
            float(self.k1 + d[9]),
            float(self.k2 + d[10]),
        )

    def increment_to(self, other: Camera) -> Array:
        """Return the increment (11,) by which `moved` leads to another camera."""
        turn, _ = cv2.Rodrigues(other.rotation @ self.rotation.T)
        longer = np.log(other.focal_px / self.focal_px)
        interior = np.array([other.cx - self.cx, other.cy - self.cy, other.k1 - self.k1, other.k2 - self.k2])
        translation = np.asarray(other.translation_mm - self.translation_mm, float)
        if min(self.translation_mm[2], other.translation_mm[2]) >= IN_FRONT_MM:
            x, y, z = self.translation_mm
            further = float(np.log(other.translation_mm[2] / z) - longer)
            across = other._origin_px() - self._origin_px() - interior[:2]
            translation = np.array([*(across * z / self.focal_px + np.array([x, y]) * further), z * (further + longer)])
        return np.concatenate([np.asarray(turn, float).ravel(), translation, [longer], interior])

    def _origin_px(self) -> Array:
        """Return where the wall's origin would be seen without distortion (2,), which it may not be in the photo."""
        x, y, z = self.translation_mm
        return np.array([self.cx + self.focal_px * x / z, self.cy + self.focal_px * y / z])

    def centre_mm(self) -> Array:
        """Return the projection centre (3,) in the frame of the wall."""
        return np.asarray(-self.rotation.T @ self.translation_mm)


def project(camera: Camera, xyz: Array) -> Array:
    """Return the pixels (N, 2) of wall points (N, 3) mm; points behind the camera become NaN."""
    p = xyz @ camera.rotation.T + camera.translation_mm
    z = np.where(p[:, 2] > 1e-6, p[:, 2], np.nan)
    x, y = p[:, 0] / z, p[:, 1] / z
    r2 = x * x + y * y
    g = 1 + r2 * (camera.k1 + r2 * camera.k2)
    return np.stack([camera.focal_px * g * x + camera.cx, camera.focal_px * g * y + camera.cy], axis=1)


def project_jacobian(camera: Camera, xyz: Array) -> tuple[Array, Array, Array]:
    """Return pixels (N, 2), their Jacobian by the camera's unknowns (N, 2, 11) and by the point (N, 2, 3)."""
    turned = xyz @ camera.rotation.T
    p = turned + camera.translation_mm
    n, f = len(xyz), camera.focal_px
    z = np.maximum(p[:, 2], 1e-6)
    x, y = p[:, 0] / z, p[:, 1] / z
    r2 = x * x + y * y
    g = 1 + r2 * (camera.k1 + r2 * camera.k2)
    h = 2 * (camera.k1 + 2 * r2 * camera.k2)  # dg/dx = h x, dg/dy = h y
    normal = np.empty((n, 2, 2))
    normal[:, 0, 0] = f * (g + h * x * x)
    normal[:, 0, 1] = normal[:, 1, 0] = f * h * x * y
    normal[:, 1, 1] = f * (g + h * y * y)
    by_p = np.zeros((n, 2, 3))
    by_p[:, 0, 0] = by_p[:, 1, 1] = 1 / z
    by_p[:, 0, 2], by_p[:, 1, 2] = -x / z, -y / z
    by_p = normal @ by_p
    skew = np.zeros((n, 3, 3))  # d(exp(d) q)/dd = -[q]x
    skew[:, 0, 1], skew[:, 0, 2] = turned[:, 2], -turned[:, 1]
    skew[:, 1, 0], skew[:, 1, 2] = -turned[:, 2], turned[:, 0]
    skew[:, 2, 0], skew[:, 2, 1] = turned[:, 1], -turned[:, 0]
    by_camera = np.zeros((n, 2, UNKNOWNS))
    by_camera[:, :, :3] = by_p @ skew
    by_camera[:, :, 3:6] = by_p
    xy = np.stack([x, y], axis=1)
    by_camera[:, :, 6] = f * g[:, None] * xy
    by_camera[:, 0, 7] = by_camera[:, 1, 8] = 1
    by_camera[:, :, 9] = f * r2[:, None] * xy
    by_camera[:, :, 10] = f * (r2 * r2)[:, None] * xy
    pixels = f * g[:, None] * xy + np.array([camera.cx, camera.cy])
    return pixels, by_camera, by_p @ camera.rotation


def undistort(camera: Camera, uv: Array) -> Array:
    """Return the ideal image coordinates (N, 2), focal length 1, of pixels (N, 2); Newton steps on the radius."""
    d = (uv - np.array([camera.cx, camera.cy])) / camera.focal_px
    rd = np.hypot(d[:, 0], d[:, 1])
    r = rd.copy()
    for _ in range(6):
        r2 = r * r
        g = r * (1 + r2 * (camera.k1 + r2 * camera.k2)) - rd
        dg = 1 + r2 * (3 * camera.k1 + 5 * r2 * camera.k2)
        # beyond the fold the model has no inverse: stay near, and finite
        before, r = r, np.minimum(np.maximum(r - g / np.where(dg > 0.1, dg, 0.1), 0.0), FAR)
        if (r == before).all():
            break
    return np.asarray(d * np.where(rd > 1e-12, r / np.maximum(rd, 1e-12), 1.0)[:, None])


def back_project(camera: Camera, uv: Array, z_mm: float | Array) -> Array:
    """Return where the rays of pixels (N, 2) meet the planes z = `z_mm` (one or N): (N, 2) mm; NaN where they miss."""
    xy = undistort(camera, uv)
    rays = np.column_stack([xy, np.ones(len(xy))]) @ camera.rotation
    centre = camera.centre_mm()
    with np.errstate(divide="ignore", invalid="ignore"):
        s = (z_mm - centre[2]) / rays[:, 2]
    s = np.where(s > 0, s, np.nan)
    return np.asarray(centre[:2] + s[:, None] * rays[:, :2])
