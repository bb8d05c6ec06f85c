"""Facts about the request to measure again. What it must hold: the project's task; common practice, no source."""

import re
from datetime import date
from types import SimpleNamespace

import pytest

from sizing.decision import Judgement
from sizing.explaining.slips import load_priors
from sizing.explaining.weighed import Explanation
from sizing.messages.remeasure import look_out
from sizing.messages.slips import slip_says
from sizing.remeasure import again, request

INCH = 25.4


def result(name, mm, verdict, *, holds=False, likely=(), p_changes=None):
    return SimpleNamespace(
        reading=SimpleNamespace(name=name, length=SimpleNamespace(mm=mm, as_written="")),
        judgement=Judgement(verdict, mm, photo_mm=1381.1),
        holds=holds,
        likely=likely,
        p_changes=p_changes,
    )


BURNED = Explanation("burned-inch", 0.97, 1381.125, INCH)
WRONG = result("width_middle", 1406.525, "differs", holds=True, likely=(BURNED,))


def test_the_crew_is_told_what_was_read_and_what_to_look_out_for():
    text = request("W1", [result("width_top", 1381.0, "agrees"), WRONG], "in")
    assert "W1" in text
    assert "width, middle: 55 3/8 in was read" in text
    assert "end hook, not at a printed mark" in text
    assert "width, top" not in text


def test_what_several_readings_ask_to_look_out_for_is_said_once_below_them():
    # What who reads it aloud on a ladder needs: common practice, no source.
    other = result("width_top", 1406.525, "differs", holds=True, likely=(BURNED,))
    plain = result("height_left", 1550.0, "differs", holds=True)
    lines = request("W1", [other, plain, WRONG], "in").splitlines()
    assert lines[1:5] == [
        "- width, top: 55 3/8 in was read.",
        "- width, middle: 55 3/8 in was read.",
        f"At each of these: {look_out('burned-inch')}",
        f"- height, left: 61 1/32 in was read. {look_out(None)}",
    ]


def test_the_request_names_the_job_and_its_day():
    text = request("W1", [WRONG], "in", job="larch 1", on=date(2026, 5, 4))
    assert text.splitlines()[0] == "Job larch 1, measured on 2026-05-04"
    assert request("W1", [], "in", job="larch 1", on=date(2026, 5, 4)) == ""


def test_the_number_to_find_is_never_in_the_request():
    text = request("W1", [WRONG], "in")
    numbers = {m.strip() for m in re.findall(r"\d+(?: \d+/\d+)?", text.replace("W1", ""))}
    assert numbers == {"55 3/8"}


@pytest.mark.parametrize(
    "slip", sorted({s.code for s in load_priors().slips} | {"copied", "wrong-unit", "one-shift", "inches-split"})
)
def test_what_to_look_out_for_holds_no_number(slip):
    assert not re.search(r"\d", look_out(slip))
    assert look_out(slip) != look_out(None)
    assert slip_says(slip, INCH, None, {}, "in")


def test_readings_that_cannot_change_the_order_are_not_asked_for_again():
    harmless = result("height_left", 1550.0, "differs", holds=False, p_changes=0.0)
    doubtful = result("height_right", 1530.0, "unproven", p_changes=0.4)
    idle = result("width_bottom", 1390.0, "unproven", p_changes=0.001)
    assert [a.name for a in again([harmless, doubtful, idle, WRONG])] == ["height_right", "width_middle"]


def test_a_slip_less_likely_than_not_is_not_named_to_the_crew():
    perhaps = (Explanation("foot", 0.45, 1101.7, 304.8), Explanation("none-of-these", 0.4, None, None))
    found = again([result("width_top", 1406.5, "differs", holds=True, likely=perhaps)])
    assert found[0].look_out == look_out(None)


def test_nothing_to_measure_again_is_no_request():
    assert request("W1", [result("width_top", 1381.0, "agrees")], "in") == ""
