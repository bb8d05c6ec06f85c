"""Readings that no usual slip explains: said once, with a look at the outline first. Common practice, no source."""

from functools import partial

import pytest

from sizing.desk.opening_view import reading_rows, unexplained_lines
from sizing.messages.names import names_of
from sizing.report.readings import cause_lines
from sizing.terminal import job_text
from tests.orders import checked_in, opening_of, seen

ANOTHER = "nother cause than the usual slips"
# Seen by the photo: 54 3/8 and 60 1/8 in. No slip of a tape makes these of them.
ALL_OFF = {"width": ("97 3/16", "91 5/8", "83 7/16"), "height": ("107 1/16", "88 11/16", "95 3/8")}
TWO_OFF = {"width": ("56 1/16", "54 3/8", "54 3/8"), "height": ("60 1/8", "60 1/8", "61 11/16")}
NAMES = ["width_top", "width_middle", "width_bottom", "height_left", "height_middle", "height_right"]


@pytest.fixture
def checked(tmp_path):
    return partial(checked_in, tmp_path, rule=None, ordered=None, estimator=seen(heights=(60.125,) * 3))


@pytest.mark.parametrize(("readings", "names"), [(ALL_OFF, NAMES), (TWO_OFF, ["width_top", "height_right"])])
def test_one_cause_of_many_readings_is_said_once_with_their_names(checked, readings, names):
    result = checked(readings)
    text = job_text(result)
    assert text.count(ANOTHER) == 1
    assert f"{names_of(names)}: another cause than the usual slips." in text
    causes = [line for line in cause_lines(result.openings[0].readings, "in") if ANOTHER in line]
    assert [line.split(": A")[0] for line in causes] == [names_of(names)]
    found = opening_of(result)
    assert unexplained_lines(found) == [f"{names_of(names)}: another cause than the usual slips."]
    assert not any(ANOTHER in text for row in reading_rows(found, "in") for text in row["likely"])


def test_one_reading_alone_has_its_cause_beside_it(checked):
    result = checked(TWO_OFF | {"height": ("60 1/8",) * 3})
    (line,) = [line for line in job_text(result).splitlines() if ANOTHER in line]
    assert line.strip().startswith("width, top: the tape says 56 1/16 in;")
    found = opening_of(result)
    assert unexplained_lines(found) == []
    assert ANOTHER in reading_rows(found, "in")[0]["likely"][0]


def test_where_no_slip_explains_any_reading_the_outline_is_looked_at_before_the_tape(checked):
    step = opening_of(checked(ALL_OFF))["next_step"]
    assert step.startswith("Do not order. Look first in the picture whether the outline lies on this opening")
    assert "If not: measure again: width, top; " in step


def test_where_sound_readings_stand_beside_it_the_outline_is_not_doubted(checked):
    assert "outline" not in opening_of(checked(TWO_OFF))["next_step"]
