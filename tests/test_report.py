"""Facts about the report. Oracle: contract.md, the files themselves, and what a reader of PDF or HTML finds in them."""

import io
import re
from dataclasses import replace
from fractions import Fraction
from html.parser import HTMLParser

import numpy as np
import pypdfium2
import pytest
from PIL import Image
from pypdf import PdfReader

from sizing.check import check_job
from sizing.messages.report_figures import order_size
from sizing.orders.footprint import footprint_of
from sizing.photoresults import PhotoResult
from sizing.pictures.blanking import FILL, Blank
from sizing.report.chart import bar_of, reach_mm
from sizing.report.html import report_html
from sizing.report.pdf import report_pdf
from sizing.report.pictures import cropped, opening_pictures
from sizing.report.report import build_report
from vision.request import PARTS, Candidate, Estimate, PhotoReport, Warning_

SIZE = (900, 700)
VALUES = np.array([1381.125] * 3 + [1527.175] * 3 + [2058.98] * 2 + [0.0])
HEAD = '[job]\nid = "harbor-114"\nunits = "in"\ntape = "class-2"\nmeasured_by = "crew 2"\n'
SERIAL, CAMERA = "SN-998877", "a camera"


def opening(label="W1", middle="54 3/8", photos='["w1.jpg"]', more=""):
    return f"""
[[opening]]
label = {label!r}
wall = "masonry"
photos = {photos}
{more}
width = {{ top = "54 3/8", middle = "{middle}", bottom = "54 3/8" }}
height = {{ left = "60 1/8", middle = "60 1/8", right = "60 1/8" }}
"""


def estimator(candidates=()):
    def measured(request, progress):
        corners = np.array([[200.0, 150.0], [660.0, 150.0], [660.0, 640.0], [200.0, 640.0]])
        card = np.array([[60.0, 300.0], [140.0, 300.0], [140.0, 350.0], [60.0, 350.0]])
        report = PhotoReport(
            request.photos[0].path,
            "ab" * 32,
            SIZE,
            corners,
            stations_px={"width_middle": np.array([[200.0, 395.0], [660.0, 395.0]])},
            references_px=(("card", card),),
            wall_to_photo=lambda points: np.asarray(points) / 3.0 + np.array([200.0, 150.0]),
            extent_mm=(-500.0, -300.0, 1600.0, 1600.0),
        )
        budget = np.full((9, len(PARTS)), 0.2)
        return Estimate(VALUES, np.eye(9), budget, np.zeros(9), {}, candidates, (), (report,), (), "corners")

    return measured


@pytest.fixture
def checked(tmp_path):
    exif = Image.Exif()
    exif[271] = CAMERA
    exif.get_ifd(0x8769)[0xA431] = SERIAL
    exif.get_ifd(0x8825)[1] = "N"
    exif.get_ifd(0x8825)[2] = (52.0, 30.0, 11.0)
    pixels = np.full((SIZE[1], SIZE[0], 3), (180, 150, 120), np.uint8)
    pixels[300:351, 60:141] = (255, 0, 255)  # a card's face, in a colour that nothing else has
    Image.fromarray(pixels).save(tmp_path / "w1.jpg", exif=exif, quality=97)

    def check(*openings, candidates=()):
        (tmp_path / "job.toml").write_text(HEAD + "".join(openings or [opening()]), encoding="utf-8")
        return check_job(tmp_path, estimator=estimator(candidates))

    return check


def built(result, blanks=()):
    complaints = []
    report = build_report(result, "2026-05-04", blanks, complaints.append)
    assert complaints == []
    return report


def texts(content):
    document = pypdfium2.PdfDocument(content)
    pages = [page.get_textpage().get_text_range() for page in document]
    return [" ".join(text.split()) for text in pages]


def test_the_first_page_begins_with_the_verdict_of_the_job(checked):
    pages = texts(report_pdf(built(checked(opening(), opening("W2", "55 3/8"))), "letter", "in"))
    said = "Stop: 1 of 2 openings must not be ordered as it stands."
    assert said in pages[0]
    assert pages[0].index(said) < pages[0].index("crew 2")


def test_the_size_of_an_order_says_whether_it_was_ordered_or_follows_from_the_rule():
    # Two sizes without a word look like the opening's: common practice, no source.
    sizes = [Fraction(1397), None]
    assert order_size(sizes, "mm", typed=True) == "1397 mm x - (ordered)"
    assert order_size(sizes, "mm", typed=False) == "1397 mm x - (by the rule)"


def test_the_tolerance_that_readings_are_judged_by_stands_below_them(checked):
    # Contract, *Decision*: 1/4 in each way, diagonals 1/2 in.
    report = built(checked(opening()))
    said = "(the tolerance, 1/4 in either way; diagonals 1/2 in either way)"
    assert said in texts(report_pdf(report, "letter", "in"))[1]
    assert said in report_html(report, "in")


@pytest.mark.parametrize("paper", ["letter", "a4"])
@pytest.mark.parametrize("count", [1, 12])
def test_each_opening_has_a_page_of_its_own(checked, paper, count):
    openings = [opening(f"W{i}", photos='["w1.jpg"]' if i == 1 else "[]") for i in range(1, count + 1)]
    content = report_pdf(built(checked(*openings)), paper, "in")
    pages = texts(content)
    assert len(pages) == count + 2  # the job before them, method and inputs after
    assert [page.split(" harbor")[0] for page in pages[1:-1]] == [f"Opening W{i}" for i in range(1, count + 1)]
    # ISO 216 and ANSI sizes, 72 points an inch.
    size = {"letter": (612.0, 792.0), "a4": (595.28, 841.89)}[paper]
    assert pypdfium2.PdfDocument(content)[0].get_size() == pytest.approx(size, abs=0.02)


def test_the_contents_name_the_page_that_the_opening_is_on(checked):
    long = 'note = "' + "a very long note " * 400 + '"'
    pages = texts(report_pdf(built(checked(opening("W1", more=long), opening("W2"))), "letter", "in"))
    on = next(i for i, page in enumerate(pages, start=1) if page.startswith("Opening W2"))
    assert on > 3
    assert re.search(rf"W2 May be ordered .*? {on} ", pages[0])


def test_no_letter_leaves_the_page_however_long_labels_and_notes_are(checked):
    label, note = "W" * 100, f'note = "{"x" * 900} {"word " * 300}"'
    document = pypdfium2.PdfDocument(report_pdf(built(checked(opening(label, more=note))), "letter", "in"))
    for page in document:
        width, height = page.get_size()
        reader = page.get_textpage()
        boxes = np.array([reader.get_charbox(i) for i in range(reader.count_chars())])
        assert boxes[:, [0, 1]].min() >= 0
        assert boxes[:, 2].max() <= width - 20
        assert boxes[:, 3].max() <= height


def test_readings_stand_with_the_photos_figure_its_uncertainty_and_the_verdict(checked):
    page = texts(report_pdf(built(checked(opening(middle="55 3/8"))), "letter", "in"))[1]
    # u = 1 mm: U95 = 2 mm, rounded up to 1/8 in.
    assert "width, middle 55 3/8 in about 54 3/8 in ± 1/8 in" in page
    assert "differs" in page
    assert "Do not order." in page


def test_what_was_not_checked_is_never_to_be_ordered(checked):
    (page,) = built(checked(opening(photos="[]"))).pages
    assert "Do not order" in page.to_do[0]
    assert {reading.verdict_words for reading in page.readings} == {"not checked"}


def test_every_input_is_named_with_its_hash_and_no_folder(checked, tmp_path):
    result = checked()
    report = built(result)
    for content in (" ".join(texts(report_pdf(report, "letter", "in"))), report_html(report, "in")):
        assert result.job.sha256 in content
        assert "w1.jpg" in content
        assert str(tmp_path) not in content
        assert "secondtape" in content


def test_neither_place_nor_serial_number_nor_camera_leaves(checked):
    report = built(checked())
    pdf, html = report_pdf(report, "letter", "in"), report_html(report, "in")
    for page in PdfReader(io.BytesIO(pdf)).pages:
        for image in page.images:
            assert not image.image.getexif()
            assert SERIAL.encode() not in image.data
    for picture in report.pages[0].pictures:
        with Image.open(io.BytesIO(picture.jpeg)) as image:
            assert not image.getexif()
            assert set(image.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density", "dpi"}
    assert SERIAL not in html
    assert CAMERA not in html


def shown(report):
    return [np.asarray(Image.open(io.BytesIO(p.jpeg)).convert("RGB")).astype(int) for p in report.pages[0].pictures]


def magenta(pixels):
    return ((pixels[..., 0] > 200) & (pixels[..., 1] < 90) & (pixels[..., 2] > 200)).sum()


def test_the_face_of_a_card_is_covered_and_a_sheet_is_not(checked):
    order = 'ordered = { width = "55 3/8", height = "62 1/8" }\n'
    seen = shown(built(checked(opening(more=order))))
    assert len(seen) == 2
    assert all(magenta(pixels) > 100 for pixels in seen)
    covered = shown(built(checked(opening(more=order + 'reference = "id1"'))))
    assert [magenta(pixels) for pixels in covered] == [0, 0]


def pictures_of(result, complain, **changes):
    """Return the captions of the pictures of a job's first opening, its ordered size drawn on the wall."""
    opened = replace(result.openings[0], **changes)
    drawn = footprint_of(opened.opening, opened.order, opened.answer)
    return [p.caption for p in opening_pictures(opened, drawn, "in", (), complain)]


def test_a_photo_that_cannot_be_read_gives_way_to_one_that_can(checked, tmp_path):
    (tmp_path / "w0.jpg").write_bytes(b"no photo")
    two = checked(opening(photos='["w0.jpg", "w1.jpg"]')).openings[0].opening
    result = checked(opening())
    bad = PhotoResult("w0.jpg", error=Warning_("photo-unreadable", "it is no photo"))
    photos = (bad, result.openings[0].photos[0])
    assert [c.split(":")[0] for c in pictures_of(result, pytest.fail, photos=photos, opening=two)] == ["w1.jpg"]


def test_no_photo_is_shown_whose_card_may_be_anywhere(checked):
    result, complaints = checked(opening(more='reference = "id1"')), []
    photo = result.openings[0].photos[0]
    unseen = replace(photo, report=replace(photo.report, references_px=()))
    assert pictures_of(result, complaints.append, photos=(unseen,)) == []
    assert len(complaints) == 1
    assert complaints[0].startswith("w1.jpg: not shown in the report, as a card may be in view")


def test_a_photo_that_is_gone_or_changed_since_costs_its_pictures_and_no_more(checked, tmp_path):
    order = 'ordered = { width = "55 3/8", height = "62 1/8" }\n'
    result = checked(opening(more=order))
    assert len(pictures_of(result, pytest.fail)) == 2
    for spoil in (lambda: Image.new("RGB", (400, 300)).save(tmp_path / "w1.jpg"), (tmp_path / "w1.jpg").unlink):
        spoil()
        complaints = []
        assert pictures_of(result, complaints.append) == []
        assert [c.split(" could not be drawn")[0] for c in complaints] == ["w1.jpg", "W1"]
        assert all(c.endswith("the verdict stands.") for c in complaints)


def test_a_photo_that_was_not_measured_is_shown_whole_as_it_was_taken(checked):
    result = checked(opening())
    photo = result.openings[0].photos[0]
    bare = replace(photo, report=replace(photo.report, stations_px={}, corners_px=None))
    assert pictures_of(result, pytest.fail, photos=(bare,)) == ["w1.jpg: not measured; as it was taken"]
    whole, _ = cropped(np.zeros((700, 900, 3), np.uint8), bare.report)
    assert whole.shape == (700, 900, 3)


def test_a_cropped_picture_takes_all_that_is_drawn_along():
    line = np.array([[300.0, 200.0], [500.0, 200.0]])
    outline = np.array([[280.0, 180.0], [520.0, 180.0], [520.0, 420.0], [280.0, 420.0]])
    report = PhotoReport(
        "w.jpg",
        "",
        (900, 700),
        sides_px={"head": line},
        stations_px={"width_top": line},
        references_px=(("sheet A", outline),),
        faces_px=(("frame", {"head": line}),),
    )
    picture, moved = cropped(np.zeros((700, 900, 3), np.uint8), report)
    assert picture.shape[0] < 700
    low = line - moved.stations_px["width_top"]
    assert (low == low[0]).all()
    assert (low > 0).all()
    for was, now in (
        (line, moved.sides_px["head"]),
        (outline, moved.references_px[0][1]),
        (line, moved.faces_px[0][1]["head"]),
    ):
        np.testing.assert_array_equal(was - now, np.broadcast_to(low[0], was.shape))


def test_a_box_blanks_out_copies_and_leaves_the_photo_alone(checked, tmp_path):
    before = (tmp_path / "w1.jpg").read_bytes()
    report = built(checked(opening()), [Blank("w1.jpg", (0.0, 0.0, 899.0, 699.0))])
    (pixels,) = shown(report)
    brown = (np.abs(pixels - np.array([180, 150, 120])).max(axis=-1) < 12).sum()
    assert brown == 0
    assert (np.abs(pixels - np.array(FILL)).max(axis=-1) < 12).mean() > 0.5
    assert (tmp_path / "w1.jpg").read_bytes() == before


def test_the_same_report_gives_the_same_bytes(checked):
    report = built(checked())
    assert report_pdf(report, "a4", "in") == report_pdf(report, "a4", "in")


class Tags(HTMLParser):
    """Collects tags and addresses."""

    def __init__(self):
        super().__init__()
        self.tags, self.addresses = [], []

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.addresses += [v for k, v in attrs if k in ("src", "href")]
        assert not [k for k, _ in attrs if k.startswith("on") or k == "style"]


def test_the_html_holds_no_script_asks_for_nothing_outside_and_escapes(checked):
    report = built(checked(opening("<script>alert(1)</script>")))
    found = Tags()
    found.feed(report_html(report, "in"))
    assert "script" not in found.tags
    assert all(a.startswith(("#", "data:image/jpeg;base64,")) for a in found.addresses)
    assert found.tags.count("svg") == len(report.pages[0].readings)


def test_an_interval_inside_the_band_is_what_agreeing_looks_like(checked):
    (page,) = built(checked(opening(middle="55 3/8"))).pages
    reach = reach_mm(page.readings)
    bars = {reading.name: bar_of(reading, reach) for reading in page.readings}
    good, bad = bars["width, top"], bars["width, middle"]
    assert good.band[0] < good.interval[0] < good.centre < good.interval[1] < good.band[1]
    # The reading is an inch too long, so the opening lies an inch below it.
    assert bad.interval[1] < bad.band[0]
    assert bad.centre == pytest.approx(0.5 - 0.5 * 25.4 / reach)


def test_the_band_follows_the_tolerance_by_direction(tmp_path, checked):
    # May be under by 1/8 in: then the opening is that much larger than the reading; over by 1/2 in: smaller.
    checked(opening(photos="[]"))
    head = HEAD + 'tolerance = { width_under = "1/8", width_over = "1/2" }\n'
    (tmp_path / "job.toml").write_text(head + opening(photos="[]"), encoding="utf-8")
    (page,) = built(check_job(tmp_path)).pages
    assert page.readings[0].band_mm == pytest.approx((-12.7, 3.175))


def test_a_slip_of_a_foot_runs_off_the_scale_and_is_marked(checked):
    (page,) = built(checked(opening(middle="66 3/8"))).pages
    reach = reach_mm(page.readings)
    bar = bar_of(page.readings[1], reach)
    assert bar.beyond == (True, False)
    assert bar.centre is None
    assert reach < 100


def test_rival_edges_widen_the_interval_that_is_drawn(checked):
    shift = np.zeros(9)
    shift[:3] = 15.0
    rivals = (Candidate("left", 0.6, 0.0, np.zeros(9)), Candidate("left", 0.4, 15.0, shift))
    (page,) = built(checked(candidates=rivals)).pages
    low, high = page.readings[1].interval_mm
    assert high - low > 14.0


def test_what_is_to_be_done_is_not_said_again_of_the_room_on_the_wall(checked):
    room = 'clearances = { above = "2", left = "1/4" }\nordered = { width = "56 3/8", height = "69" }\n'
    (page,) = built(checked(opening(more=room))).pages
    assert sum("Ask before ordering" in line for line in page.to_do) == 2  # each of the two sides
    assert [line.split(":")[0] for line in page.footprint] == ["over the opening by about"]  # the two sides are said
    (text,) = [t for t in texts(report_pdf(built(checked(opening(more=room))), "letter", "in")) if "Opening W1" in t]
    assert text.count("Free above the opening") == 1


@pytest.mark.parametrize(("unit", "part", "whole"), [("in", "0.008", "0.039"), ("mm", "0.20", "1.00")])
def test_the_budget_is_in_the_unit_of_the_job(checked, tmp_path, unit, part, whole):
    """0.2 mm a part and u = 1 mm, by the inch of 25.4 mm (ISO 31-1)."""
    checked()
    text = (tmp_path / "job.toml").read_text().replace('units = "in"', f'units = "{unit}"')
    if unit == "mm":
        text = re.sub(r'"(5\d|60) (\d)/8"', lambda at: f'"{at[1]} {at[2]}/8 in"', text)
    (tmp_path / "job.toml").write_text(text)
    report = built(check_job(tmp_path, estimator=estimator()))
    assert {figure for _, figures in report.pages[0].budget.rows for figure in figures[:-1]} == {part}
    assert {figures[-1] for _, figures in report.pages[0].budget.rows} == {whole}
    for content in (" ".join(texts(report_pdf(report, "letter", unit))), report_html(report, unit)):
        assert f"(standard uncertainties, {unit})" in content


def test_a_photo_left_out_for_a_card_whose_place_is_not_known_is_said_on_the_page(checked):
    result, complaints = checked(opening(more='reference = "id1"')), []
    photo = result.openings[0].photos[0]
    unseen = replace(photo, report=replace(photo.report, references_px=()))
    left_out = replace(result, openings=(replace(result.openings[0], photos=(unseen,)),))
    report = build_report(left_out, "2026-05-04", (), complaints.append)
    assert complaints
    said = "No picture: w1.jpg: not shown in the report, as a card may be in view whose place is not known."
    assert said in texts(report_pdf(report, "letter", "in"))[1]
    assert said in report_html(report, "in")
    none = built(checked(opening(photos="[]")))
    assert "No picture: there is no photo that could be used." in texts(report_pdf(none, "letter", "in"))[1]
