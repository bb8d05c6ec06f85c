"""Shapes that lie on the wall, drawn on the rectified wall and projected back into the photo."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from vision.pictures.drawn_labels import TEXT_PART, Text, box_about, with_labels
from vision.pictures.drawn_lines import draw_line, scaled
from vision.pictures.labels import Box
from vision.pictures.looks import LOOKS
from vision.pictures.overlay import MAX_SIDE_PX, MIN_SIDE_PX
from vision.pictures.rectified import rectified_view
from vision.request import Array, PhotoReport

Pixels = NDArray[np.uint8]
ToPhoto = Callable[[Array], Array]

_STEP_MM = 1.0  # of the numeric derivative: the map bends far less over it than a pixel
# Guess: focal length of a phone's main camera, 26 mm by the diagonal of 43.27 mm. Only how far from square on a
# point is seen hangs on it, which is an uncertainty.
_FOCAL_BY_DIAGONAL = 26.0 / 43.27
MOST_AROUND = 1.5  # a far obstacle is not drawn in full: at most so many times the extent on each side


@dataclass(frozen=True, slots=True, eq=False)
class Shape:
    """A closed outline (N, 2) mm on the wall, its kind in `looks.LOOKS`, and a label, lines parted by '|'.

    `label_at_mm` is the line (M, 2) on the wall that the label stands at; None for the whole outline.
    """

    kind: str
    outline_mm: Array
    label: str = ""
    label_at_mm: Array | None = None


def wall_points(to_photo: ToPhoto, points_px: Array) -> Array:
    """Return points (N, 2) mm of the wall that the map puts at the given pixels (N, 2); NaN where it does not end.

    Notes
    -----
    Newton's method with a numeric Jacobian, begun at the origin; the map is smooth and nearly projective. Ends at
    0.001 px.
    """
    target = np.asarray(points_px, np.float64).reshape(-1, 2)
    found = np.zeros_like(target)
    miss = np.full(len(target), np.inf)
    for _ in range(60):
        off = target - to_photo(found)
        miss = np.linalg.norm(off, axis=1)
        if not np.isfinite(miss).all() or (miss < 1e-3).all():
            break
        step = np.linalg.solve(_jacobian(to_photo, found), off[..., None])[..., 0]
        longest = np.maximum(np.linalg.norm(step, axis=1, keepdims=True), 1e-12)
        found = found + step * np.minimum(1.0, 1500.0 / longest)  # a projective map may overshoot its horizon
    return np.where((miss < 1e-2)[:, None], found, np.nan)


def mm_per_px(to_photo: ToPhoto, at_mm: Array) -> float:
    """Return how many mm of the wall one pixel covers at a point (2,) mm: the larger of both directions."""
    singular = np.linalg.svd(_jacobian(to_photo, at_mm[None])[0], compute_uv=False)
    return float(1.0 / max(singular[-1], 1e-9))


def standing_out_shift(report: PhotoReport, at_mm: Array) -> Array:
    """Return how far (2,) a thing at a point (2,) mm is seen shifted on the wall a mm that it stands out.

    Notes
    -----
    By similar triangles the offset from the camera's foot over its distance. The camera's place follows from the
    map's homography (Zhang 2000, section 3.1), with a usual focal length and the principal point in the middle: good to
    a third or so, which is enough for an uncertainty.
    """
    assert report.wall_to_photo is not None
    width, height = report.size_px
    focal = _FOCAL_BY_DIAGONAL * float(np.hypot(width, height))
    to_wall = _to_wall(report)
    if to_wall is None:
        return np.ones(2)
    H = np.linalg.inv(to_wall)
    away = np.array([[1, 0, -(width - 1) / 2], [0, 1, -(height - 1) / 2], [0, 0, focal]])  # focal times K^-1
    axes = away @ np.asarray(H, np.float64)
    axes *= np.sign(axes[2, 2]) * 2.0 / (np.linalg.norm(axes[:, 0]) + np.linalg.norm(axes[:, 1]))
    u, _, vt = np.linalg.svd(np.column_stack([axes[:, 0], axes[:, 1], np.cross(axes[:, 0], axes[:, 1])]))
    centre = -(u @ vt).T @ axes[:, 2]
    return np.asarray((np.asarray(at_mm) - centre[:2]) / max(abs(float(centre[2])), 1.0))


def footprint_on_wall(
    photo_rgb: Pixels,
    report: PhotoReport,
    shapes: Sequence[Shape],
    font_file: Path | None = None,
    text_part: float = TEXT_PART,
) -> Image.Image:
    """Return the rectified wall with shapes true to scale and scale bars below; `info` as of `rectified_view`.

    Parameters
    ----------
    photo_rgb : (H, W, 3) uint8
        Upright photo in whose pixels the report's places are.
    report : PhotoReport
        With `wall_to_photo` and `extent_mm`.
    shapes : sequence of Shape
        The first are drawn below the later ones, and choose their labels' places first.
    font_file : Path, optional
        TrueType font.
    text_part : float
        Height of the labels' text over the picture's long side.

    Raises
    ------
    ValueError
        The report holds no map.
    """
    if report.wall_to_photo is None or report.extent_mm is None:
        raise ValueError("the report holds no map from the wall to the photo")
    view = rectified_view(photo_rgb, report.wall_to_photo, _extent(report.extent_mm, shapes))
    pitch, origin = float(view.info["mm_per_px"]), np.array(view.info["origin_mm"])
    lines = [
        (shape, (_closed(shape.outline_mm) - origin) / pitch, (_label_line(shape) - origin) / pitch) for shape in shapes
    ]
    keep_off = [box_about((o - origin) / pitch) for o in _references_mm(report)]
    drawn = _drawn(np.array(view, np.uint8), lines, font_file, text_part, keep_off)
    drawn.info.update(view.info)
    return drawn


def footprint_on_photo(
    photo_rgb: Pixels,
    report: PhotoReport,
    shapes: Sequence[Shape],
    font_file: Path | None = None,
    text_part: float = TEXT_PART,
) -> Image.Image:
    """Return the photo with shapes of the wall projected into it; parameters as of `footprint_on_wall`."""
    if report.wall_to_photo is None:
        raise ValueError("the report holds no map from the wall to the photo")
    height, width = photo_rgb.shape[:2]
    long = max(height, width)
    scale = min(MAX_SIDE_PX, max(MIN_SIDE_PX, long)) / long
    size = (max(1, round(width * scale)), max(1, round(height * scale)))
    method = cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
    canvas: Pixels = np.ascontiguousarray(cv2.resize(photo_rgb, size, interpolation=method), np.uint8)
    to_photo = report.wall_to_photo
    lines = [
        (
            s,
            scaled(to_photo(_dense(_closed(s.outline_mm))), scale),
            scaled(to_photo(_dense(_label_line(s))), scale),
        )
        for s in shapes
    ]
    references = [scaled(outline, scale) for _, outline in report.references_px]
    return _drawn(canvas, lines, font_file, text_part, [box_about(o) for o in references if len(o) > 1])


def _references_mm(report: PhotoReport) -> list[Array]:
    """Return the outlines (N, 2) mm of the references on the wall, as far as they are seen whole."""
    to_wall = _to_wall(report)
    outlines = [np.asarray(o, np.float64) for _, o in report.references_px if len(o) > 1 and np.isfinite(o).all()]
    if to_wall is None:
        return []
    return [np.asarray(cv2.perspectiveTransform(o[:, None], to_wall), np.float64)[:, 0] for o in outlines]


def _to_wall(report: PhotoReport) -> Array | None:
    """Return the homography (3, 3) from the photo to mm of the wall; None where too little of the wall is in view."""
    assert report.wall_to_photo is not None
    x0, y0, x1, y1 = report.extent_mm or (-500.0, -500.0, 1500.0, 1500.0)
    grid = np.stack(np.meshgrid(np.linspace(x0, x1, 4), np.linspace(y0, y1, 4)), -1).reshape(-1, 2)
    px = report.wall_to_photo(grid)
    good = np.isfinite(px).all(axis=1)
    found = cv2.findHomography(px[good], grid[good])[0] if good.sum() >= 4 else None
    return None if found is None else np.asarray(found, np.float64)


def _drawn(
    canvas: Pixels,
    lines: Sequence[tuple[Shape, Array, Array]],
    font_file: Path | None,
    text_part: float,
    keep_off: Sequence[Box],
) -> Image.Image:
    stroke = max(2, round(max(canvas.shape[:2]) / 700))
    lines = [(shape, line, at if len(at) > 1 else line) for shape, line, at in lines if len(line) > 1]
    for shape, line, _ in lines:
        look = LOOKS.get(shape.kind, LOOKS["none"])
        draw_line(canvas, line, look.colour, max(1, round(stroke * look.weight)), look.dashes)
    texts = [Text(shape.label, shape.kind, at) for shape, _, at in lines if shape.label]
    avoid = np.vstack([_every(line, 8.0) for _, line, _ in lines]) if lines else np.empty((0, 2))
    return with_labels(Image.fromarray(canvas), texts, avoid, font_file, text_part, keep_off)


def _extent(shown_mm: tuple[float, float, float, float], shapes: Sequence[Shape]) -> tuple[float, float, float, float]:
    x0, y0, x1, y1 = shown_mm
    reach_x, reach_y = MOST_AROUND * (x1 - x0), MOST_AROUND * (y1 - y0)
    points = np.vstack([s.outline_mm for s in shapes]) if shapes else np.array([[x0, y0]])
    low, high = points.min(axis=0), points.max(axis=0)
    return (
        float(max(min(x0, low[0]), x0 - reach_x)),
        float(max(min(y0, low[1]), y0 - reach_y)),
        float(min(max(x1, high[0]), x1 + reach_x)),
        float(min(max(y1, high[1]), y1 + reach_y)),
    )


def _label_line(shape: Shape) -> Array:
    return _closed(shape.outline_mm) if shape.label_at_mm is None else shape.label_at_mm


def _closed(outline: Array) -> Array:
    return np.vstack([outline, outline[:1]])


def _dense(line: Array) -> Array:
    """Return a polyline (N, 2) with 40 points a piece: straight on the wall need not be straight in the photo."""
    t = np.linspace(0.0, 1.0, 40, endpoint=False)[:, None]
    pieces = [a + t * (b - a) for a, b in pairwise(line)]
    return np.vstack([*pieces, line[-1:]])


def _every(line: Array, step_px: float) -> Array:
    length = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])
    at = np.linspace(0.0, length[-1], max(2, int(min(length[-1] / step_px, 20_000)) + 1))
    return np.column_stack([np.interp(at, length, line[:, 0]), np.interp(at, length, line[:, 1])])


def _jacobian(to_photo: ToPhoto, at_mm: Array) -> Array:
    """Return d px / d mm (N, 2, 2) at points (N, 2) by central differences."""
    x, y = np.array([_STEP_MM, 0.0]), np.array([0.0, _STEP_MM])
    by_x = (to_photo(at_mm + x) - to_photo(at_mm - x)) / (2 * _STEP_MM)
    by_y = (to_photo(at_mm + y) - to_photo(at_mm - y)) / (2 * _STEP_MM)
    return np.stack([by_x, by_y], axis=-1)
