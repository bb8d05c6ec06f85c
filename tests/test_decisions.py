"""Facts about decisions and the hash of their inputs. Oracle: contract.md, *Decision*; real files and processes."""

import json
import subprocess
import sys
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from sizing.decided import Decision
from sizing.errors import InputError
from sizing.jobs.file import load_job
from sizing.jobs.inputs_hash import inputs_sha256
from sizing.release.decision_line import shown_document
from sizing.release.decisions import FILE, append_decision, bad_line_problems, read_decisions

ROOT = Path(__file__).parent.parent
H1, H2 = "a1" * 32, "b2" * 32
NOON = datetime(2026, 5, 4, 12, 0, tzinfo=UTC)
SEND = Decision(NOON, "desk", "W1", "send", "all agree", H1, 1406.525, 1577.975)

JOB = """[job]
id = "harbor-114"
units = "in"
[[opening]]
label = "W1"
wall = "masonry"
photos = ["w1.jpg"]
width = { top = "54 3/8", middle = "54 1/4", bottom = "54 3/8" }
ordered = { width = "55 3/8", height = "62 1/8" }
[[opening]]
label = "W2"
wall = "masonry"
width = { top = "30" }
"""


@pytest.fixture
def hashed(tmp_path):
    (tmp_path / "w1.jpg").write_bytes(b"a photo")

    def of(text=JOB, opening=0, photos=("cd" * 32,), **more):
        (tmp_path / "job.toml").write_text(text, encoding="utf-8")
        job = load_job(tmp_path)
        return inputs_sha256(job, job.openings[opening], photos, **more)

    return of


@pytest.mark.parametrize("size", [{"width_mm": 0.0}, {"height_mm": -1.0}, {"height_mm": float("nan")}])
def test_a_decision_on_a_size_that_is_none_is_not_written(tmp_path, size):
    """Found: an order of width 0 was recorded, could not be read back, and kept every opening back."""
    with pytest.raises(InputError, match="no length above 0: put it right in the job file"):
        append_decision(tmp_path, replace(SEND, **size))
    assert not (tmp_path / "decisions.jsonl").exists()


def test_a_decision_is_read_back_as_it_was_written(tmp_path):
    assert append_decision(tmp_path, SEND) == 1
    assert append_decision(tmp_path, replace(SEND, by="Ström\n2", decision="hold")) == 2
    log = read_decisions(tmp_path)
    assert log.decisions == (replace(SEND, line=1), replace(SEND, by="Ström\n2", decision="hold", line=2))
    assert log.bad == ()


def test_a_line_holds_what_the_contract_names(tmp_path):
    append_decision(tmp_path, SEND)
    line = json.loads((tmp_path / FILE).read_text())
    assert line["time"].startswith("2026-05-04T12:00:00")
    assert line["time"].endswith("Z")
    assert {k: line[k] for k in ("by", "opening", "decision", "reason")} == {
        "by": "desk",
        "opening": "W1",
        "decision": "send",
        "reason": "all agree",
    }
    assert line["ordered"] == {"width_mm": 1406.525, "height_mm": 1577.975}
    assert line["inputs_sha256"] == H1


def test_two_hundred_appends_of_two_processes_lose_and_mix_none(tmp_path):
    code = f"""
import sys; sys.path.insert(0, {str(ROOT)!r})
from datetime import UTC, datetime
from pathlib import Path
from sizing.release.decisions import (append_decision)
from sizing.decided import (Decision)
who = sys.argv[1]
sys.stdin.readline()
for i in range(100):
    append_decision(Path({str(tmp_path)!r}),
        Decision(datetime.now(UTC), who, f"W{{i}}", "hold", "x" * (7 * i + 1), {H1!r}))
"""
    both = [subprocess.Popen([sys.executable, "-c", code, w], stdin=subprocess.PIPE, text=True) for w in "ab"]
    for process in both:
        process.stdin.write("go\n")
        process.stdin.flush()
    for process in both:
        process.communicate(timeout=60)
        assert process.returncode == 0
    log = read_decisions(tmp_path)
    assert log.bad == ()
    assert len((tmp_path / FILE).read_bytes().splitlines()) == 200
    for who in "ab":
        mine = [d for d in log.decisions if d.by == who]
        assert [d.opening for d in mine] == [f"W{i}" for i in range(100)]  # each in its own order
        assert [len(d.reason) for d in mine] == [7 * i + 1 for i in range(100)]


def test_a_decision_on_other_inputs_is_stale_and_does_not_stand(tmp_path):
    append_decision(tmp_path, SEND)
    log = read_decisions(tmp_path)
    assert log.standing("W1", H1) == replace(SEND, line=1)
    assert log.standing("W1", H2) is None
    assert shown_document(log.shown("W1", H2), H2)["stale"] is True
    assert shown_document(log.shown("W1", H1), H1)["stale"] is False
    assert log.shown("W2", H1) is None


def test_the_last_line_on_these_inputs_stands_whatever_its_clock(tmp_path):
    append_decision(tmp_path, replace(SEND, time=datetime(2030, 1, 1, tzinfo=UTC)))
    append_decision(tmp_path, replace(SEND, decision="hold", reason="customer rang"))
    append_decision(tmp_path, replace(SEND, inputs_sha256=H2))
    assert read_decisions(tmp_path).standing("W1", H1).decision == "hold"


BAD = [
    b'{"time": "0001-01-01T00:00:00+10:00", "by": "a", "opening": "W1", "decision": "hold", "reason": "r", '
    b'"inputs_sha256": "' + H1.encode() + b'"}',  # before the first year in UTC
    b"not json",
    b'{"time": "2026-05-04T12:00:00Z"',
    b"[1, 2]",
    b"\xff\xfe",
    b'{"time": "2026-05-04T12:00:00", "by": "a", "opening": "W1", "decision": "hold", "reason": "r", '
    b'"inputs_sha256": "' + H1.encode() + b'"}',
    b'{"time": "2026-05-04T12:00:00Z", "by": "a", "opening": "W1", "decision": "maybe", "reason": "r", '
    b'"inputs_sha256": "' + H1.encode() + b'"}',
    b'{"time": "2026-05-04T12:00:00Z", "by": "a", "opening": "W1", "decision": "hold", "reason": "r", '
    b'"inputs_sha256": "short"}',
    b'{"time": "2026-05-04T12:00:00Z", "by": "a", "opening": "W1", "decision": "override", "reason": "r", '
    b'"inputs_sha256": "' + H1.encode() + b'"}',
    b'{"time": "2026-05-04T12:00:00Z", "by": "a", "opening": "W1", "decision": "hold", "reason": "r", '
    b'"ordered": {"width_mm": ' + b"9" * 400 + b'}, "inputs_sha256": "' + H1.encode() + b'"}',
    b'{"by": "a", "by": "b"}',
    b"[" * 50_000,
    b'{"time": NaN}',
    b'{"time": "2026-05-04T12:00:00Z", "by": "\\ud800", "opening": "W1", "decision": "hold", "reason": "r", '
    b'"inputs_sha256": "' + H1.encode() + b'"}',
]


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no limit of a file's size")
def test_a_full_disk_leaves_no_half_line(tmp_path):
    import resource

    append_decision(tmp_path, SEND)
    before = (tmp_path / FILE).read_bytes()
    old = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (len(before) + 40, old[1]))
    try:
        with pytest.raises(InputError, match="nothing was recorded"):
            append_decision(tmp_path, SEND)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, old)
    assert (tmp_path / FILE).read_bytes() == before
    assert append_decision(tmp_path, SEND) == 2


@pytest.mark.parametrize("bad", BAD, ids=range(len(BAD)))
def test_a_line_that_cannot_be_read_is_named_by_number_and_kept(tmp_path, bad):
    append_decision(tmp_path, SEND)
    with (tmp_path / FILE).open("ab") as file:
        file.write(bad + b"\n\n")
    assert append_decision(tmp_path, SEND) == 4
    log = read_decisions(tmp_path)
    assert [d.line for d in log.decisions] == [1, 4]
    assert [b.line for b in log.bad] == [2]
    assert all(".. The line" not in problem.says for problem in bad_line_problems(log))
    assert log.unread_after(1) == log.bad
    assert log.unread_after(4) == ()
    assert f"{tmp_path / FILE}: line 2" in str(bad_line_problems(log)[0])
    assert bad in (tmp_path / FILE).read_bytes()


def test_a_torn_last_line_does_not_swallow_the_next_decision(tmp_path):
    append_decision(tmp_path, SEND)
    with (tmp_path / FILE).open("ab") as file:
        file.write(b'{"time": "20')
    assert append_decision(tmp_path, SEND) == 3
    log = read_decisions(tmp_path)
    assert [d.line for d in log.decisions] == [1, 3]
    assert [b.line for b in log.bad] == [2]


@pytest.mark.parametrize(
    ("change", "key"),
    [
        ({"by": " "}, "by"),
        ({"reason": ""}, "reason"),
        ({"decision": "override"}, "risk_accepted"),
        ({"inputs_sha256": ""}, "inputs_sha256"),
        ({"reason": "x" * 3000}, "reason"),
        ({"by": "\udcff"}, "by"),
    ],
)
def test_a_decision_without_name_reason_or_risk_is_not_recorded(tmp_path, change, key):
    with pytest.raises(InputError, match=key):
        append_decision(tmp_path, replace(SEND, **change))
    assert not (tmp_path / FILE).exists()


def test_links_and_folders_are_not_written_through(tmp_path):
    (tmp_path / "other").write_text("mine\n")
    (tmp_path / FILE).symlink_to(tmp_path / "other")
    with pytest.raises(InputError, match=f"{FILE}: is a link or no regular file"):
        append_decision(tmp_path, SEND)
    with pytest.raises(InputError, match="link"):
        read_decisions(tmp_path)
    assert (tmp_path / "other").read_text() == "mine\n"
    (tmp_path / FILE).unlink()
    (tmp_path / FILE).mkdir()
    with pytest.raises(InputError, match=f"{FILE}: is a link or no regular file"):
        append_decision(tmp_path, SEND)
    with pytest.raises(InputError, match=FILE):
        read_decisions(tmp_path)


def test_another_spelling_of_the_same_length_is_the_same_input(hashed):
    same = JOB.replace('"54 3/8", middle', '"54.375 in", middle')
    assert same != JOB
    assert hashed(same) == hashed()


def test_a_renamed_photo_and_another_opening_change_nothing(hashed, tmp_path):
    before = hashed()
    (tmp_path / "w9.jpg").write_bytes(b"a photo")
    assert hashed(JOB.replace("w1.jpg", "w9.jpg")) == before
    assert hashed(JOB.replace('top = "30"', 'top = "31"')) == before


@pytest.mark.parametrize(
    ("was", "now"),
    [
        ("54 1/4", "55 1/4"),
        ("55 3/8", "55 1/2"),
        ('wall = "masonry"', 'wall = "siding"'),
        ('units = "in"', 'units = "in"\ntolerance = "1/8"'),
        ('label = "W1"', 'label = "W3"'),
        ('id = "harbor-114"', 'id = "harbor-115"'),
        ('label = "W1"', 'label = "W1"\nquantity = 2'),
        ('label = "W1"', 'label = "W1"\nrule = "louvered-outside"'),
        ('label = "W1"', 'label = "W1"\nnote = "trim comes off"'),
        ('label = "W1"', 'label = "W1"\nedge_offset = "3/4"'),
        ('label = "W1"', 'label = "W1"\ncheck_bar = "149 mm"'),
        ('["w1.jpg"]', '[{ file = "w1.jpg", corners = [[0, 0], [9, 0], [9, 9], [0, 9]] }]'),
    ],
)
def test_each_input_of_an_opening_changes_its_hash(hashed, was, now):
    assert was in JOB
    assert hashed(JOB.replace(was, now, 1)) != hashed()


def test_another_photo_document_or_rule_changes_the_hash(hashed):
    kinds = [hashed(), hashed(photos=("ce" * 32,)), hashed(photos=()), hashed(rule_sha256="ab" * 32)]
    assert len(set(kinds)) == 4


def test_what_was_delivered_later_leaves_a_decision_fresh(hashed):
    later = JOB.replace('ordered = { width = "55 3/8"', 'delivered = { width = "55" }\nordered = { width = "55 3/8"')
    assert hashed(later) == hashed()
    photo = JOB.replace('["w1.jpg"]', '["w1.jpg", { file = "w1.jpg", when = "after" }]')
    assert hashed(photo, photos=("cd" * 32, "ef" * 32)) == hashed()


def test_a_free_table_may_hold_anything_that_toml_can(hashed):
    deep = "[" * 45 + "1" + "]" * 45
    extra = f"[opening.extra]\nh = 0x{'F' * 6000}\nn = nan\nt = 07:30:00\nd = {deep}\n"
    text = JOB.replace('[[opening]]\nlabel = "W2"', extra + '[[opening]]\nlabel = "W2"')
    assert hashed(text) != hashed()
    assert hashed(text) == hashed(text)
