"""What people decided, and what was released, in every overview. Oracle: contract.md, *Decision*; the files written."""

import hashlib
import io
import json
import re
import time
from datetime import UTC, datetime

import numpy as np
import pypdfium2
import pytest
from pypdf import PdfReader

from sizing.check import check_job
from sizing.decided import Decision
from sizing.release.decisions import append_decision
from sizing.release.handover import hand_over
from sizing.release.release import plan_release
from sizing.report.files import report_job
from sizing.result.document import job_document
from sizing.saving import save_run
from sizing.terminal import job_text
from tests.desk_jobs import served
from vision.request import PARTS, Estimate, PhotoReport

# An opening of 54 3/8 by 60 1/8 in, square; as measured by a photo.
VALUES = np.array([1381.125] * 3 + [1527.175] * 3 + [2058.98] * 2 + [0.0])
HEAD = '[job]\nid = "harbor-114"\nunits = "in"\ntape = "class-2"\n'
STEP = "Stopped by B. Office: do not order until decided anew"


def opening(label, middle="54 3/8"):
    return f"""
[[opening]]
label = "{label}"
wall = "masonry"
photos = ["w1.jpg"]
ordered = {{ width = "55 3/8", height = "62 1/8" }}
width = {{ top = "54 3/8", middle = "{middle}", bottom = "54 3/8" }}
height = {{ left = "60 1/8", middle = "60 1/8", right = "60 1/8" }}
"""


def measured(request, progress):
    path = request.photos[0].path
    report = PhotoReport(path, hashlib.sha256(path.read_bytes()).hexdigest(), (4032, 3024))
    return Estimate(
        VALUES, np.eye(9) * 0.81, np.zeros((9, len(PARTS))), np.zeros(9), {}, (), (), (report,), (), "corners"
    )


@pytest.fixture
def root(tmp_path):
    """A desk's folder with a job: W1 sent and released twice, W2 overridden, W3 stopped, W4 nobody looked at."""
    folder = tmp_path / "harbor"
    folder.mkdir()
    (folder / "w1.jpg").write_bytes(b"x" * 2000)
    (folder / "job.toml").write_text(
        HEAD + opening("W1") + opening("W2", "55 3/8") + opening("W3") + opening("W4"), encoding="utf-8"
    )
    result = check_job(folder, estimator=measured)
    by = {o.opening.label: o for o in result.openings}
    for label, choice, who, risk in (
        ("W1", "send", "A. Desk", ""),
        ("W2", "override", "A. Desk", "too wide"),
        ("W3", "hold", "B. Office", ""),
    ):
        now = datetime(2026, 5, 4, 12, 30, tzinfo=UTC)
        append_decision(folder, Decision(now, who, label, choice, "seen", by[label].inputs_sha256, risk_accepted=risk))
    result = checked(folder)
    for labels in (["W1"], ["W1", "W2"]):
        hand_over(
            plan_release(result, labels), folder, out=None, released_at=str(now), program="secondtape", paper="a4"
        )
    return tmp_path


def checked(folder):
    result = check_job(folder, estimator=measured)
    assert save_run(result, job_document(result), out=None, pictures=False)[0]
    return result


def released(folder, label):
    """Return the numbers of the releases on disk that an opening is in."""
    documents = [json.loads(p.read_text()) for p in (folder / "secondtape").glob("release-*/release.json")]
    return sorted(d["release"] for d in documents if label in [line["opening"] for line in d["released"]])


def reported(folder):
    report, (pdf, html) = report_job(checked(folder), "2026-05-04", (), "a4", None, lambda line: None)
    pages = [" ".join(page.extract_text().split()) for page in PdfReader(io.BytesIO(pdf.read_bytes())).pages]
    return report, pages, html.read_text(encoding="utf-8")


def test_the_reports_first_page_tells_decisions_and_earlier_releases(root):
    report, pages, html = reported(root / "harbor")
    for text in (pages[0], html):
        assert "people decided otherwise: stopped W3; ordered against the check W2." in text
        assert "Stopped by B. Office" in text
        assert "Ordered against the check, by A. Desk" in text
    numbers = released(root / "harbor", "W1")
    assert len(numbers) == 2
    assert [page.released for page in report.pages] == [
        f"Already in releases {', '.join(numbers)}",
        f"Already in release {released(root / 'harbor', 'W2')[0]}",
        "",
        "",
    ]
    assert all(number in pages[0] for number in numbers)


def test_the_reports_page_of_a_stopped_opening_is_headed_by_the_stop_and_says_nothing_of_ordering(root):
    report, pages, html = reported(root / "harbor")
    page = report.pages[2]
    assert (page.verdict, page.verdict_words) == ("send", "May be ordered")  # what the check says stays
    assert page.title.startswith(STEP)
    assert not any("order the size" in line for line in page.to_do)
    on = next(text for text in pages if text.startswith("Opening W3"))
    assert on.index(STEP) < on.index("By the check: may be ordered.")
    assert "then order the size" not in on
    assert f'<div class="verdict hold"><strong>{STEP}' in html
    assert "order the size by the readings" in report.pages[3].to_do[-1]


def test_a_stop_on_other_inputs_counts_for_nothing_in_the_report_and_is_shown_as_stale(root):
    file = root / "harbor" / "job.toml"
    before, w3 = file.read_text().split('label = "W3"')
    file.write_text(before + 'label = "W3"' + w3.replace('middle = "60 1/8"', 'middle = "60"', 1))
    page = reported(root / "harbor")[0].pages[2]
    assert page.title == page.verdict_words == "May be ordered"
    assert page.decided == "Stale, counts for nothing: stopped by B. Office"
    assert "order the size by the readings" in page.to_do[-1]


def test_a_job_that_only_a_person_stops_is_not_headed_as_to_be_ordered(root):
    file = root / "harbor" / "job.toml"
    file.write_text(HEAD + opening("W1") + opening("W3"))
    report, pages, _ = reported(root / "harbor")
    assert report.headline == "Stopped by a person: 1 of 2 openings must not be ordered until decided anew."
    assert report.verdict == "send"
    assert "may be ordered." not in pages[0].split("That is the check alone")[0].split("until decided anew.")[0]


def test_the_terminal_says_not_to_order_what_a_person_stopped(root):
    text = job_text(checked(root / "harbor"))
    assert text.count(STEP) == 1
    assert text.index("W3 ") < text.index(STEP) < text.index("W4 ")


@pytest.fixture
def desk(root):
    with served(root) as client:
        yield client


def part(page, label, then):
    """Return the part of a page about one opening as plain text."""
    found = re.search(rf"{label[0]}(.*?){label[1]}", page, re.DOTALL)
    assert found, then
    return " ".join(re.sub(r"<[^>]+>", " ", found[1]).split())


@pytest.mark.parametrize("page", ["/job/harbor", "/job/harbor/release"])
def test_the_desks_lists_of_openings_tell_decisions_and_earlier_releases(desk, root, page):
    text = desk.get(page).text
    ends = ('id="opening-{}"', "</article>") if page.endswith("harbor") else ('value="{}" checked', "</p>")
    of = {label: part(text, (ends[0].format(label), ends[1]), page) for label in ("W1", "W2", "W3", "W4")}
    assert f"Already in releases {', '.join(released(root / 'harbor', 'W1'))}" in of["W1"]
    assert "Ordered against the check, by A. Desk" in of["W2"]
    assert "Stopped by B. Office" in of["W3"]
    assert "may be ordered" in of["W3"]
    assert not re.search(r"Stopped|Already|, by ", of["W4"])


def test_the_list_of_jobs_tells_what_people_stopped(desk):
    text = " ".join(re.sub(r"<[^>]+>", " ", desk.get("/").text).split())
    assert "stopped by a person: W3" in text
    assert "ordered against the check: W2" in text


def test_the_page_of_a_stopped_opening_says_not_to_order_as_its_next_step(desk):
    page = desk.get("/job/harbor/opening/W3").text
    verdict = page[page.index('data-part="verdict"') : page.index('class="bench"')]
    assert f"<strong>Next:</strong> {STEP}" in verdict
    assert 'class="card verdict stop"' in verdict
    assert "may be ordered" in verdict
    assert 'class="chip hold"' in desk.get("/job/harbor/opening/W4").text


def test_a_stale_stop_is_shown_as_stale_at_the_desk(desk, root):
    file = root / "harbor" / "job.toml"
    before, w3 = file.read_text().split('label = "W3"')
    file.write_text(before + 'label = "W3"' + w3.replace('middle = "60 1/8"', 'middle = "60"', 1))
    checked(root / "harbor")
    text = desk.get("/job/harbor").text
    assert "Stale, counts for nothing: stopped by B. Office" in text
    assert STEP not in text
    assert "stopped by a person" not in desk.get("/").text


def test_a_report_that_does_not_hold_the_last_release_is_said_to_be_out_of_date(desk, root):
    reported(root / "harbor")
    assert "Out of date" not in desk.get("/job/harbor/papers").text
    time.sleep(0.05)
    plan = plan_release(checked(root / "harbor"), ["W2"])
    hand_over(plan, root / "harbor", out=None, released_at="2026-05-05T12:30:00+00:00", program="x", paper="a4")
    assert "since this report changed: the releases." in desk.get("/job/harbor/papers").text


def test_a_text_of_any_letters_in_a_decision_stays_text_on_the_pages(desk, root):
    text = "</script><img src=x onerror=alert(1)>"
    result = checked(root / "harbor")
    append_decision(
        root / "harbor",
        Decision(datetime.now(UTC), text, "W4", "hold", text, result.openings[3].inputs_sha256),
    )
    for page in ("/job/harbor", "/job/harbor/release", "/job/harbor/opening/W4", "/"):
        assert "<img src=x" not in desk.get(page).text
    assert "<img src=x" not in reported(root / "harbor")[2]


def test_a_list_of_releases_does_not_leave_the_reports_first_page(root):
    report, _, _ = reported(root / "harbor")
    document = pypdfium2.PdfDocument(str(root / "harbor" / "secondtape" / "report" / "report.pdf"))
    width, height = document[0].get_size()
    reader = document[0].get_textpage()
    boxes = np.array([reader.get_charbox(i) for i in range(reader.count_chars())])
    assert boxes[:, 2].max() <= width - 20
    assert boxes[:, 3].max() <= height
    assert report.pages[0].released
