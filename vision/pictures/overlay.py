"""Pictures for people: results drawn on the photo. Words are the caller's."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import cv2
import numpy as np
from PIL import Image

from vision.pictures.drawn_labels import TEXT_PART, Text, box_about, with_labels
from vision.pictures.drawn_lines import Pixels, draw_dimension, draw_line, resampled, scaled
from vision.pictures.looks import LOOKS, SIDE_COLOUR
from vision.request import PhotoReport

MAX_SIDE_PX, MIN_SIDE_PX = 2400, 1600  # small photos are enlarged, so that text does not hide the opening


def annotated_photo(
    photo_rgb: Pixels,
    report: PhotoReport,
    labels: Mapping[str, tuple[str, str]],
    font_file: Path | None = None,
    text_part: float = TEXT_PART,
) -> Image.Image:
    """Return the photo with sides as traced, stations with their labels, and references as found.

    Parameters
    ----------
    photo_rgb : (H, W, 3) uint8
        Upright photo in whose pixels the report's places are.
    report : PhotoReport
        `sides_px`, `stations_px`, `references_px` and, faintly, `faces_px` are drawn; places that are not finite are
        left out.
    labels : mapping of str to (text, kind)
        By measure: text, broken into lines at '|', and 'agrees', 'differs', 'unproven' or 'none'. Labels
        without a station in this photo stand at the top left.
    font_file : Path, optional
        TrueType font; without it Pillow's own, which has no fraction signs.
    text_part : float
        Height of the text over the long side.

    Returns
    -------
    PIL.Image.Image
        RGB, 1600 to 2400 px on its long side.

    Notes
    -----
    Labels never overlap each other; where they do not fit, the text is made smaller (down to 10 px), and what
    still does not fit is left out, the last of `labels` first.
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
    sides = [scaled(side, scale) for side in report.sides_px.values()]
    references = [(name, scaled(outline, scale)) for name, outline in report.references_px]
    references = [(name, outline) for name, outline in references if len(outline) > 1]
    for _, outline in references:
        draw_line(canvas, np.vstack([outline, outline[:1]]), LOOKS["reference"].colour, stroke)
    faint = max(1, round(stroke * LOOKS["face"].weight))
    for face in (scaled(line, scale) for _, lines in report.faces_px for line in lines.values()):
        draw_line(canvas, face, LOOKS["face"].colour, faint, LOOKS["face"].dashes)
    for side in sides:
        draw_line(canvas, side, SIDE_COLOUR, stroke)
    for name, line in stations.items():
        draw_dimension(canvas, line, LOOKS.get(labels[name][1], LOOKS["none"]), stroke)
    lines = [*stations.values(), *sides, *(outline for _, outline in references)]
    avoid = np.vstack([resampled(line, 8.0) for line in lines]) if lines else np.empty((0, 2))
    texts = [Text(*labels[name], line_px=stations.get(name)) for name in labels]
    texts += [Text(name, "reference", outline) for name, outline in references]
    return with_labels(
        Image.fromarray(canvas), texts, avoid, font_file, text_part, [box_about(o) for _, o in references]
    )
