"""What is a line of decisions and what is none. Oracles: contract.md, *Decision* (what it holds); RFC 8259 (JSON)."""

import json
from datetime import UTC, datetime

import pytest

from sizing.release.decision_line import parse_decision

SHA = "a1" * 32
GOOD = {
    "time": "2026-05-04T12:00:00Z",
    "by": "desk",
    "opening": "W1",
    "decision": "override",
    "reason": "rang them",
    "risk_accepted": "may be short",
    "verdict": "hold",
    "ordered": {"width_mm": 1406.525, "height_mm": 100_000},
    "inputs_sha256": SHA,
}


def line(**changes):
    return json.dumps({k: v for k, v in {**GOOD, **changes}.items() if v != "absent"}).encode()


def test_a_line_says_who_decided_what_on_which_inputs_and_sizes():
    found = parse_decision(line(), 7)
    assert (found.time, found.by, found.opening) == (datetime(2026, 5, 4, 12, tzinfo=UTC), "desk", "W1")
    assert (found.decision, found.reason, found.risk_accepted) == ("override", "rang them", "may be short")
    assert (found.verdict, found.inputs_sha256, found.line) == ("hold", SHA, 7)
    assert (found.width_mm, found.height_mm) == (1406.525, 100_000.0)


@pytest.mark.parametrize("ordered", [None, "absent", {}, {"width_mm": None}])
def test_a_decision_may_leave_the_size_open(ordered):
    found = parse_decision(line(ordered=ordered, decision="hold", risk_accepted="absent", verdict="absent"))
    assert (found.width_mm, found.height_mm, found.risk_accepted, found.verdict) == (None, None, "", "")


@pytest.mark.parametrize("key", ["time", "by", "opening", "decision", "reason", "inputs_sha256"])
@pytest.mark.parametrize(
    ("value", "says"), [("absent", "'{}' is missing"), (None, "'{}' is missing"), (5, "'{}' is not")]
)
def test_a_line_without_one_of_its_texts_is_none(key, value, says):
    with pytest.raises(ValueError, match=says.format(key)):
        parse_decision(line(**{key: value}))


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"ordered": [1406]}, "'ordered' is not a table"),
        ({"ordered": {"width_mm": True}}, "ordered.width_mm is not a length"),
        ({"ordered": {"width_mm": "1406"}}, "ordered.width_mm is not a length"),
        ({"ordered": {"height_mm": 0}}, "ordered.height_mm is not a length"),
        ({"ordered": {"height_mm": 100_001}}, "ordered.height_mm is not a length"),
        ({"inputs_sha256": "g1" * 32}, "inputs_sha256"),
        ({"inputs_sha256": SHA[1:]}, "inputs_sha256"),
        ({"inputs_sha256": SHA.upper()}, "inputs_sha256"),
        ({"decision": "maybe"}, "'maybe' is not one of"),
        ({"by": " "}, "by "),
        ({"risk_accepted": ""}, "risk_accepted "),  # an override accepts a risk, and says which
        ({"reason": "x" * 2001}, "reason "),
        ({"time": "2026-05-04T12:00:00"}, "has no zone"),
        ({"time": "noon"}, "is not like"),
    ],
)
def test_a_line_that_says_what_cannot_be_is_none(changes, says):
    with pytest.raises(ValueError, match=says):
        parse_decision(line(**changes))


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        (b'"by": "desk"', b'"by": "desk", "by": "another"', "a key stands twice"),
        (b"1406.525", b"NaN", "NaN is no number of JSON"),
        (b"1406.525", b"-Infinity", "-Infinity is no number of JSON"),
        (b"1406.525", b"1" * 31, "a number too long"),
        (b"1406.525", b"1" * 30, "ordered.width_mm is not a length"),
    ],
)
def test_a_line_that_json_readers_read_differently_is_none(old, new, says):
    text = line()
    assert old in text
    with pytest.raises(ValueError, match=says):
        parse_decision(text.replace(old, new))


def test_a_line_of_a_hundred_thousand_bytes_is_read_and_no_longer_one():
    text = line()
    assert parse_decision(text + b" " * (100_000 - len(text))).by == "desk"
    with pytest.raises(ValueError, match="over 100000 bytes"):
        parse_decision(text + b" " * (100_001 - len(text)))
