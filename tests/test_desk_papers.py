"""Papers made at the desk, over the real application: report, footprint, page for the household.

The check is a real one, of the demo's second opening with its photo made smaller.
"""

import io
import re
import shutil
import time
from pathlib import Path

import numpy as np
import pypdfium2
import pytest
from PIL import Image

from sizing.desk.papers_page import footprint_task, report_task
from sizing.desk.worker import WorkerError
from sizing.pictures.blanking import FILL, Blank, add_blank, remove_blank
from tests.desk_jobs import TYPED
from tests.desk_visit import second_opening, visited

DEMO = Path(__file__).parent.parent / "fixtures" / "demo"
OWN = {"sec-fetch-site": "same-origin"}
PAGE = "/job/larkspur/papers"
# In the photo made smaller: on the wall, left of the opening.
PIPE = [150, 60, 190, 900]
HIDDEN = (1000.0, 700.0, 1200.0, 900.0)


@pytest.fixture(scope="module")
def root(tmp_path_factory):
    """A desk's folder with the demo's second opening, a pipe beside it, and a box that blanks out."""
    root = tmp_path_factory.mktemp("desk")
    folder = root / "larkspur"
    text = second_opening(folder)
    thing = f'obstacles = [{{ what = "downpipe", photo = "w2.jpg", box = {PIPE} }}]\n'
    (folder / "job.toml").write_text(text.replace("[opening.width]", thing + "[opening.width]"))
    add_blank(folder, Blank("w2.jpg", HIDDEN))
    return root


@pytest.fixture(scope="module")
def visit(root):
    with visited(root) as client:
        yield client


def ask(visit, **form):
    return visit.post(PAGE, data=form, headers=OWN, follow_redirects=False)


def made(visit, does):
    """Ask for a paper and wait for it; return the page."""
    assert ask(visit, do=does, paper="a4").status_code == 303
    runs = visit.app.app.state.desk.runs
    while runs.of("larkspur"):
        time.sleep(0.05)
    assert runs.failed("larkspur", (does,)) is None
    return visit.get(PAGE).text


@pytest.fixture(scope="module")
def report(visit):
    return made(visit, "report")


@pytest.fixture(scope="module")
def footprint(visit):
    return made(visit, "footprint")


def words(pdf):
    document = pypdfium2.PdfDocument(pdf)
    return "\n".join(page.get_textpage().get_text_bounded() for page in document)


def test_the_report_is_made_and_downloaded_as_pdf_and_html(visit, report):
    assert "Out of date" not in report
    pdf = visit.get(f"{PAGE}/report.pdf")
    assert pdf.headers["content-disposition"] == 'attachment; filename="larkspur-report.pdf"'
    assert "larkspur-07" in words(pdf.content)
    # A4: 210 x 297 mm, ISO 216; 72 pt an inch
    width, height = pypdfium2.PdfDocument(pdf.content)[0].get_size()
    assert (round(width / 72 * 25.4), round(height / 72 * 25.4)) == (210, 297)
    html = visit.get(f"{PAGE}/report.html")
    assert html.headers["content-disposition"].startswith("attachment")
    assert "downpipe" in html.text


def test_a_report_of_earlier_inputs_says_what_changed(visit, root, report):
    assert report
    file = root / "larkspur" / "job.toml"
    before = file.read_text()
    file.write_text(before + "# changed\n")
    assert "since this report changed: the job file" in visit.get(PAGE).text
    file.write_text(before)
    time.sleep(0.02)
    more = Blank("w2.jpg", (1.0, 1.0, 9.0, 9.0))
    add_blank(root / "larkspur", more)
    assert "since this report changed: the boxes that blank out" in visit.get(PAGE).text
    remove_blank(root / "larkspur", more)


def test_the_footprint_says_what_is_in_the_way_and_shows_it_twice(visit, footprint):
    assert "downpipe" in footprint
    pictures = re.findall(r'src="(/job/larkspur/papers/[^"]+)"', footprint)
    assert [p.rsplit("footprint-", 1)[1] for p in pictures] == ["on-wall.jpg", "in-photo.jpg"]
    for address in pictures:
        answer = visit.get(address)
        assert answer.headers["content-type"] == "image/jpeg"
        with Image.open(io.BytesIO(answer.content)) as image:
            assert not image.getexif()
            if "in-photo" in address:
                # blanked in the copy: grey of the one fill, JPEG off by a few grades
                seen = image.resize((1229, 922)).getpixel((1190, 890))
                assert max(abs(a - b) for a, b in zip(seen, FILL, strict=True)) <= 8


def test_the_wall_seen_square_on_shows_the_blanked_part_grey(visit, root):
    grey = []
    folder = root / "larkspur"
    for there in (True, False):
        if not there:
            remove_blank(folder, Blank("w2.jpg", HIDDEN))
        answer = visit.get("/square-on/larkspur?label=W2&photo=0")
        with Image.open(io.BytesIO(answer.content)) as image:
            off = np.abs(np.asarray(image, np.int16) - np.array(FILL)).max(axis=2)
        grey.append(float((off <= 4).mean()))
    add_blank(folder, Blank("w2.jpg", HIDDEN))
    # the box takes 200 x 200 of 1229 x 922 px, 3.5 % of the photo
    assert grey[0] > grey[1] + 0.01


def test_a_box_for_a_photo_that_is_none_stops_the_report_and_says_so(visit, root):
    wrong = Blank("w9.jpg", (1.0, 1.0, 9.0, 9.0))
    add_blank(root / "larkspur", wrong)
    assert ask(visit, do="report").status_code == 303
    runs = visit.app.app.state.desk.runs
    while runs.of("larkspur"):
        time.sleep(0.05)
    page = visit.get(PAGE).text
    remove_blank(root / "larkspur", wrong)
    assert "The report was not made" in page
    assert "w9.jpg is none of the job" in page


def test_the_page_for_the_household_names_the_chosen_openings_and_the_contact(visit):
    answer = ask(visit, do="request", opening="W2", contact="photos@example.com", sheets="1")
    assert answer.headers["content-type"] == "application/pdf"
    assert answer.headers["content-disposition"] == 'attachment; filename="larkspur-07-photo-request.pdf"'
    said = words(answer.content)
    assert "W2 (job larkspur-07)" in said
    assert "photos@example.com" in said
    assert len(pypdfium2.PdfDocument(answer.content)) == 3
    assert len(pypdfium2.PdfDocument(ask(visit, do="request", opening="W2").content)) == 1


@pytest.mark.parametrize(
    ("form", "says"),
    [({"do": "request", "opening": "W7"}, "choose at least one opening"), ({"do": "poem"}, "no such paper")],
)
def test_what_cannot_be_made_is_refused(visit, form, says):
    answer = ask(visit, **form)
    assert answer.status_code == 400
    assert says in answer.text


@pytest.mark.parametrize(
    "file", ["job.toml", "report/report.pdf", "../job.toml", "footprint-000000000000/x-footprint-on-wall.jpg", "x.jpg"]
)
def test_nothing_but_papers_leaves_by_their_address(visit, file):
    assert visit.get(f"{PAGE}/{file}").status_code == 404


def test_the_page_of_the_job_leads_to_its_papers_and_they_to_release_and_log(visit):
    assert 'href="/job/larkspur/papers"' in visit.get("/job/larkspur").text
    page = visit.get(PAGE).text
    assert 'href="/job/larkspur/release"' in page
    assert 'href="/log?job=larkspur-07"' in page


@pytest.fixture
def typed(tmp_path):
    """A job with readings and no photo, which is checked at once."""
    (tmp_path / "job.toml").write_text(TYPED.format(id="larch-1", by="crew 1"))
    return tmp_path


def test_what_is_said_of_a_report_is_its_job_and_headline_and_the_job_is_not_touched(typed):
    before, steps = (typed / "job.toml").read_text(), list[str]()
    said, *complaints = report_task(typed, "letter", say=steps.append)
    assert said.startswith("larch-1: ")
    assert complaints == []
    assert steps[-1] == "writing the report"
    assert (typed / "secondtape" / "report" / "report.pdf").read_bytes().startswith(b"%PDF")
    assert "larch-1" in (typed / "secondtape" / "report" / "report.html").read_text()
    assert (typed / "job.toml").read_text() == before


def test_a_report_that_cannot_be_written_says_so_and_the_file_in_the_way_stays(typed):
    (typed / "secondtape").mkdir()
    (typed / "secondtape" / "report").write_text("a file")
    with pytest.raises(WorkerError, match=r"The report was not written\."):
        report_task(typed, "letter", say=print)
    assert (typed / "secondtape" / "report").read_text() == "a file"


def test_a_job_without_a_photo_has_a_footprint_in_words_and_no_picture(typed):
    answer = footprint_task(typed, say=print)
    (one,) = answer["openings"]
    assert (one["label"], one["pictures"]) == ("W1", [])
    assert one["heading"].startswith("Not drawn, there is no size to draw")
    assert answer["complaints"] == []
    assert not list((typed / "secondtape").glob("footprint-*"))


def test_the_footprint_names_the_pictures_it_wrote_and_where_they_cannot_be_written_says_so(tmp_path):
    text = second_opening(tmp_path)
    thing = f'obstacles = [{{ what = "downpipe", photo = "w2.jpg", box = {PIPE} }}]\n'
    (tmp_path / "job.toml").write_text(text.replace("[opening.width]", thing + "[opening.width]"))
    answer = footprint_task(tmp_path, say=print)
    (one,) = answer["openings"]
    assert one["label"] == "W2"
    assert not one["heading"].startswith("W2")
    assert any("downpipe" in line for line in one["lines"])
    assert len(one["pictures"]) == 2
    for picture in one["pictures"]:
        with Image.open(tmp_path / "secondtape" / picture) as image:
            assert image.format == "JPEG"
    folder = tmp_path / "secondtape" / one["pictures"][0].split("/")[0]
    shutil.rmtree(folder)
    folder.write_text("a file")
    with pytest.raises(WorkerError, match="were not written"):
        footprint_task(tmp_path, say=print)
    assert folder.read_text() == "a file"
