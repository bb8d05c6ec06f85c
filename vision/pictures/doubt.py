"""What of a photo people are told to look at: sides whose line is not sure, the lines that they could be, corners."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from vision.pictures.drawn_lines import resampled, scaled
from vision.request import Array, PhotoReport, Side

# With these a side may be on another line than the one that is drawn.
_DOUBTFUL = frozenset({"edge-hidden", "edge-ambiguous"})
_ENDS: Mapping[Side, tuple[int, int]] = {"head": (0, 1), "right": (1, 2), "sill": (2, 3), "left": (3, 0)}
# A trace over less of a side than this does not show where it runs (guess).
_SHOWS = 0.5


def sides_in_doubt(report: PhotoReport) -> frozenset[Side]:
    """Return the sides of which a warning says that their line is not sure, and those with other lines."""
    warned = {w.side for w in report.warnings if w.code in _DOUBTFUL and w.side}
    return frozenset(warned | {side for side, _, _ in report.rivals_px})


def sides_not_seen(report: PhotoReport) -> dict[Side, Array]:
    """Return the sides in doubt that are traced over a short part at most: from corner to corner (2, 2) px."""
    found = {}
    for side in sides_in_doubt(report):
        whole = _whole(report, side)
        traced = report.sides_px.get(side)
        if whole is None:
            continue
        line = np.empty((0, 2)) if traced is None else scaled(traced, 1.0)
        seen = float(np.linalg.norm(line[-1] - line[0])) if len(line) > 1 else 0.0
        if seen < _SHOWS * float(np.linalg.norm(whole[1] - whole[0])):
            found[side] = whole
    return found


def whole_rivals(report: PhotoReport) -> list[Array]:
    """Return the lines (2, 2) px that a side could be instead, each as long as the side: a short piece shows none."""
    lines = []
    for side, _, ends in report.rivals_px:
        line, whole = scaled(ends, 1.0), _whole(report, side)
        if len(line) == 2 and whole is not None and (length := float(np.linalg.norm(line[1] - line[0]))) > 0:
            along = (line[1] - line[0]) / length
            at = np.concatenate([(whole - line[0]) @ along, [0.0, length]])
            line = line[0] + np.array([[at.min()], [at.max()]]) * along
        lines.append(line)
    return lines


def telling_points(report: PhotoReport, scale: float, about_px: float) -> Array | None:
    """Return points (N, 2) px of the scaled picture, a few px apart, that no label is to cover; None without any.

    They lie on the sides in doubt, on their other lines, and all over squares about the corners, of half a side
    `about_px`.
    """
    doubt = sides_in_doubt(report)
    lines = [line for side, line in report.sides_px.items() if side in doubt]
    lines += [*sides_not_seen(report).values(), *whole_rivals(report)]
    on_picture = [scaled(line, scale) for line in lines]
    dots = [resampled(line, 4.0) for line in on_picture if len(line) > 1]
    steps = np.arange(-about_px, about_px + 1.0, 4.0)
    square = np.stack(np.meshgrid(steps, steps), axis=-1).reshape(-1, 2)
    corners = np.empty((0, 2)) if report.corners_px is None else scaled(report.corners_px, scale)
    dots += [corner + square for corner in corners]
    return np.vstack(dots) if dots else None


def _whole(report: PhotoReport, side: Side) -> Array | None:
    if report.corners_px is None:
        return None
    ends = np.asarray(report.corners_px, np.float64)[list(_ENDS[side])]
    return ends if np.isfinite(ends).all() else None
