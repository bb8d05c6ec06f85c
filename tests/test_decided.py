"""Facts about decisions in the result of a check. Oracle: contract.md, *Decision*; real files."""

from datetime import UTC, datetime

import pytest

from sizing.check import check_job
from sizing.decided import Decision
from sizing.release.decisions import FILE, append_decision
from sizing.result.document import job_document
from sizing.terminal import complaints, job_text
from vision.request import NotMeasured

JOB = """[job]
id = "harbor-114"
units = "in"
[[opening]]
label = "W1"
wall = "masonry"
width = { top = "54 3/8", middle = "54 3/8", bottom = "54 3/8" }
height = { left = "60 1/8", middle = "60 1/8", right = "60 1/8" }
"""


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "job.toml").write_text(JOB)
    return tmp_path


def decide(folder, **more):
    sha = check_job(folder).openings[0].inputs_sha256
    facts = {"by": "desk", "opening": "W1", "decision": "hold", "reason": "customer rang", "inputs_sha256": sha}
    append_decision(folder, Decision(datetime(2026, 5, 4, 12, tzinfo=UTC), **(facts | more)))


def test_a_fresh_decision_stands_in_the_result_and_does_not_move_the_verdict(folder):
    before = job_document(check_job(folder))["openings"][0]
    assert before["decision"] is None
    decide(folder)
    after = check_job(folder)
    shown = job_document(after)["openings"][0]
    assert shown["decision"]["by"] == "desk"
    assert shown["decision"]["stale"] is False
    assert shown["decision"]["inputs_sha256"] == shown["inputs_sha256"]
    assert shown["verdict"] == before["verdict"]
    assert "desk decided on 2026-05-04 12:00 UTC: stopped (customer rang)." in job_text(after)


def test_a_decision_on_a_reading_that_was_changed_is_shown_as_stale(folder):
    decide(folder)
    (folder / "job.toml").write_text(JOB.replace('middle = "54 3/8"', 'middle = "54 1/2"'))
    after = check_job(folder)
    assert job_document(after)["openings"][0]["decision"]["stale"] is True
    assert "Stale: desk decided" in job_text(after)


def test_a_decision_that_cannot_be_read_is_complained_of_by_line(folder):
    decide(folder)
    with (folder / FILE).open("a") as file:
        file.write("hold W1!\n")
    result = check_job(folder)
    assert any(f"{FILE}: line 2" in line for line in complaints(result))
    assert job_document(result)["decision_problems"][0]["where"].endswith("line 2")


def test_a_photo_from_afterwards_is_no_part_of_the_cross_check(folder):
    (folder / "a.jpg").write_bytes(b"x" * 2000)
    (folder / "b.jpg").write_bytes(b"y" * 2000)
    photos = 'photos = ["a.jpg", { file = "b.jpg", when = "after" }]'
    (folder / "job.toml").write_text(JOB.replace('wall = "masonry"', f'wall = "masonry"\n{photos}'))
    asked = []

    def blind(request, progress):
        asked.extend(p.path.name for p in request.photos)
        return NotMeasured("no-reference", "no sheet was found; add one")

    result = check_job(folder, estimator=blind)
    assert asked == ["a.jpg"]
    assert [w.code for w in result.openings[0].warnings if w.code == "photo-after"] == ["photo-after"]
    assert len(result.openings[0].photos) == 2
