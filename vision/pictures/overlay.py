"""Pictures for people: results drawn on the photo. Words are the caller's."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from types import MappingProxyType

import cv2
import numpy as np
from PIL import Image

from vision.pictures.doubt import sides_not_seen, telling_points, whole_rivals
from vision.pictures.drawn_labels import TEXT_PART, Text, box_about, with_labels
from vision.pictures.drawn_lines import Pixels, draw_dimension, draw_line, resampled, scaled
from vision.pictures.legend import with_legend
from vision.pictures.looks import LOOKS
from vision.request import PhotoReport

_NONE: Mapping[str, str] = MappingProxyType({})
MAX_SIDE_PX, MIN_SIDE_PX = 2400, 1600  # small photos are enlarged, so that text does not hide the opening


def annotated_photo(
    photo_rgb: Pixels,
    report: PhotoReport,
    labels: Mapping[str, tuple[str, str]],
    font_file: Path | None = None,
    text_part: float = TEXT_PART,
    legend: Mapping[str, str] = _NONE,
) -> Image.Image:
    """Return the photo with sides as traced, other lines, stations with their labels, and references as found.

    Parameters
    ----------
    photo_rgb : (H, W, 3) uint8
        Upright photo in whose pixels the report's places are.
    report : PhotoReport
        `sides_px`, `rivals_px`, `stations_px`, `references_px` and, faintly, `faces_px` are drawn; places that are not
        finite are left out.
    labels : mapping of str to (text, kind)
        By measure: text, broken into lines at '|', and 'agrees', 'differs', 'unproven' or 'none'. Labels
        without a station in this photo stand at the top left.
    font_file : Path, optional
        TrueType font; without it Pillow's own, which has no fraction signs.
    text_part : float
        Height of the text over the long side.
    legend : mapping of str to str
        What each kind of line is, by its name in `looks.LOOKS`; those that are drawn stand in a strip below.

    Returns
    -------
    PIL.Image.Image
        RGB, 1600 to 2400 px on its long side without the strip.

    Notes
    -----
    Labels never overlap each other; where they do not fit, the text is made smaller (down to 10 px), and what
    still does not fit is left out, the last of `labels` first. They keep off the corners, and off sides in doubt with
    the other lines that these could be, where there is room.
    """
    height, width = photo_rgb.shape[:2]
    long = max(height, width)
    scale = min(MAX_SIDE_PX, max(MIN_SIDE_PX, long)) / long
    size = (max(1, round(width * scale)), max(1, round(height * scale)))
    method = cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
    canvas: Pixels = np.ascontiguousarray(cv2.resize(photo_rgb, size, interpolation=method), np.uint8)
    stroke = max(2, round(max(size) / 700))
    stations = {name: scaled(line, scale) for name, line in report.stations_px.items() if name in labels}
    stations = {name: line for name, line in stations.items() if len(line) == 2}
    sides = {name: scaled(side, scale) for name, side in report.sides_px.items()}
    rivals = [scaled(line, scale) for line in whole_rivals(report)]
    unseen = [scaled(line, scale) for line in sides_not_seen(report).values()]
    references = [(name, scaled(outline, scale)) for name, outline in report.references_px]
    references = [(name, outline) for name, outline in references if len(outline) > 1]
    for _, outline in references:
        draw_line(canvas, np.vstack([outline, outline[:1]]), LOOKS["reference"].colour, stroke)
    faint = max(1, round(stroke * LOOKS["face"].weight))
    for face in (scaled(line, scale) for _, lines in report.faces_px for line in lines.values()):
        draw_line(canvas, face, LOOKS["face"].colour, faint, LOOKS["face"].dashes)
    for line in unseen:
        draw_line(canvas, line, LOOKS["unseen"].colour, faint, LOOKS["unseen"].dashes)
    for side in sides.values():
        draw_line(canvas, side, LOOKS["side"].colour, stroke)
    for rival in rivals:
        draw_line(canvas, rival, LOOKS["rival"].colour, faint, LOOKS["rival"].dashes)
    for name, line in stations.items():
        draw_dimension(canvas, line, LOOKS.get(labels[name][1], LOOKS["none"]), stroke)
    lines = [*stations.values(), *sides.values(), *(outline for _, outline in references)]
    avoid = np.vstack([resampled(line, 8.0) for line in lines]) if lines else np.empty((0, 2))
    texts = [Text(*labels[name], line_px=stations.get(name)) for name in labels]
    texts += [Text(name, "reference", outline) for name, outline in references]
    # A corner is seen with as much about it as a line of text is high.
    telling = telling_points(report, scale, max(size) * text_part)
    drawn = with_labels(
        Image.fromarray(canvas),
        texts,
        avoid,
        font_file,
        text_part,
        [box_about(o) for _, o in references],
        telling,
    )
    kinds = [*(labels[name][1] for name in stations), *(["reference"] if references else [])]
    kinds += [kind for kind, some in (("side", sides), ("unseen", unseen), ("rival", rivals)) if some]
    kinds += ["face"] if report.faces_px else []
    return with_legend(drawn, legend, kinds, font_file, max(size) * text_part)
