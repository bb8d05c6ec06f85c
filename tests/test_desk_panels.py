"""What the desk says of the sheets' write-in panels: our own printed sheets. Oracle: what was written on them."""

import cv2
import numpy as np
import pypdfium2
import pytest
from PIL import Image

from sizing.desk.panels import FIELDS_MM, panel_task, says_of
from sizing.printed.sheets import sheets_pdf
from vision.sheets.markers import find_sheets
from vision.sheets.sheet import HEIGHT_MM

SCALE = 3.0  # px a millimetre of the printed page


def printed(job=""):
    """Sheet A as printed, seen a little from the side, with paper's grain, and its homography from mm to px."""
    page = pypdfium2.PdfDocument(sheets_pdf("letter", "A", job))[0]
    flat = np.asarray(page.render(scale=SCALE * 25.4 / 72).to_pil().convert("RGB"))
    h, w = flat.shape[:2]
    seen = np.float32([[150, 120], [150 + 0.93 * w, 150], [160 + 0.92 * w, 140 + 0.97 * h], [140, 130 + h]])
    turn = cv2.getPerspectiveTransform(np.float32([[0, 0], [w, 0], [w, h], [0, h]]), seen)
    wall = (w + 300, h + 300)
    photo = cv2.warpPerspective(flat, turn, wall, flags=cv2.INTER_AREA, borderValue=(120, 90, 80))
    grain = np.random.default_rng(1).normal(0, 3, photo.shape)
    return np.clip(cv2.GaussianBlur(photo, (0, 0), 0.7) * 0.9 + grain, 0, 255).astype(np.uint8)


def written(photo, field, text):
    """The photo with a text in a field of the panel, as a pen of 0.7 mm would leave it."""
    sheet = find_sheets(cv2.cvtColor(photo, cv2.COLOR_RGB2GRAY))[0]
    left = next(at for name, at, _ in FIELDS_MM if name == field)
    ink = np.zeros((140, 700), np.uint8)  # ten px a millimetre
    cv2.putText(ink, text, (10, 95), cv2.FONT_HERSHEY_SIMPLEX, 2.2, 255, 7, cv2.LINE_AA)
    place = np.array([[0.1, 0, left + 1.5], [0, 0.1, HEIGHT_MM + 4.2 - 0.5], [0, 0, 1]])
    cover = cv2.warpPerspective(ink, sheet.homography @ place, photo.shape[1::-1], flags=cv2.INTER_AREA)
    share = cv2.GaussianBlur(cover, (0, 0), 0.7)[..., None] / 255.0
    return (photo * (1 - share) + np.array([40, 45, 90]) * share).astype(np.uint8)


@pytest.mark.parametrize(
    ("job", "field", "text", "says"),
    [
        ("", None, "", "Sheet A: nothing readable is written on it."),
        ("larkspur-07", None, "", "Sheet A: something is written under job."),
        ("", "opening", "W1", "Sheet A: something is written under opening."),
        ("larkspur-07", "date", "5/4", "Sheet A: something is written under job and date."),
    ],
)
def test_a_panel_is_said_to_be_written_on_where_it_is(tmp_path, job, field, text, says):
    photo = printed(job)
    if field is not None:
        photo = written(photo, field, text)
    Image.fromarray(photo).save(tmp_path / "w1.jpg", quality=92)
    made = panel_task(tmp_path / "w1.jpg", say=print)["panel"]
    assert says_of(made) == says


def test_a_photo_without_a_sheet_has_no_panel(tmp_path):
    Image.new("RGB", (640, 480), "white").save(tmp_path / "w1.jpg")
    assert panel_task(tmp_path / "w1.jpg", say=print) == {"panel": b""}
