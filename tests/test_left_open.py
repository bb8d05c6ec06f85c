"""What a product leaves open of the opening that it is meant to cover. Oracle: sums of the sample rule by hand."""

from datetime import UTC, datetime

import pytest

from sizing.decided import Decision
from sizing.footprint.result import footprint_lines, job_footprints
from sizing.messages.release import released_by
from sizing.release.decisions import append_decision
from sizing.release.release import plan_release
from sizing.release.written import release_document
from sizing.terminal import job_text
from tests.orders import INCH, checked_in, seen

# The sample: widths + 1/2 in each side; heights + 3 in of hardware above, only 49, 51, 57 in and so on, the nearest.
# 50 1/8 + 3 = 53 1/8: 51 is 2 1/8 in less than that, 1 1/16 in above and 1 1/16 in below.
SHORT = {"width": ("24 1/2",) * 3, "height": ("50 1/8",) * 3}
ORDER = {"width": "25 1/2", "height": "51"}
SAYS = "The size ends 1 1/16 in short of the opening's lower edge"


@pytest.fixture
def short(tmp_path):
    photo = seen(widths=(24.5,) * 3, heights=(50.125,) * 3)
    return checked_in(tmp_path, readings=SHORT, ordered=ORDER, estimator=photo)


def notes(result):
    return [(n.code, n.facts) for n in result.openings[0].order.notes]


def test_an_inch_left_open_is_a_remark_in_check_footprint_and_release_and_stops_nothing(short, tmp_path):
    (opening,) = short.openings
    assert opening.verdict.verdict == "send"
    assert notes(short) == [("short-of-opening", {"edge": "below", "short_mm": pytest.approx(1.0625 * INCH)})]
    assert f"Order, to note: {SAYS}" in job_text(short)
    (one,) = job_footprints(short)
    assert any(SAYS in line for line in footprint_lines(one, "in"))
    decision = Decision(datetime.now(UTC), "A. Desk", "W1", "send", "seen", opening.inputs_sha256)
    append_decision(tmp_path, decision)
    photo = seen(widths=(24.5,) * 3, heights=(50.125,) * 3)
    again = checked_in(tmp_path, readings=SHORT, ordered=ORDER, estimator=photo)
    (line,) = release_document(plan_release(again), "2026-05-04T12:30:00+00:00", "secondtape")["released"]
    assert SAYS in released_by(line)


@pytest.mark.parametrize(
    ("readings", "ordered", "edges"),
    [
        # 60 1/8 + 3 = 63 1/8 against 63: 1/16 in below, within the tolerance of 1/4 in.
        ({"width": ("54 3/8",) * 3, "height": ("60 1/8",) * 3}, {"width": "55 1/2", "height": "63"}, []),
        # 2 in less than 55 3/8 wide: 1 in less on each side, of which 1/2 in stood over; 57 in against 63 1/8 high:
        # 3 1/16 in less above, of which 3 in stood over (within the tolerance), and 3 1/16 in less below.
        (
            {"width": ("54 3/8",) * 3, "height": ("60 1/8",) * 3},
            {"width": "53 3/8", "height": "57"},
            ["left", "right", "below"],
        ),
        # By the widest reading, 26, 25 3/8 lacks 5/16 in on each side: more than 1/4 in under, less than 3/8 in over.
        (
            {"width": ("25 1/2", "25 1/2", "26"), "height": ("60 1/8",) * 3},
            {"width": "25 3/8", "height": "63"},
            ["left", "right"],
        ),
    ],
)
def test_each_edge_that_is_left_open_beyond_the_tolerance_is_named(tmp_path, readings, ordered, edges):
    result = checked_in(tmp_path, readings=readings, ordered=ordered, estimator=seen())
    assert [facts["edge"] for code, facts in notes(result) if code == "short-of-opening"] == edges


def test_a_product_that_stands_in_the_opening_leaves_nothing_open(tmp_path):
    inside = {"width": "54 1/8", "height": "59 3/4"}
    result = checked_in(tmp_path, ordered=inside, rule="panel-inside", sample="panel-inside", estimator=seen())
    assert "short-of-opening" not in [code for code, _ in notes(result)]


def test_where_the_rule_takes_off_in_one_direction_nothing_is_meant_to_stand_over(tmp_path):
    edit = [('add = "1/2" ', 'add = "-1/8" ')]
    photo = seen(widths=(24.5,) * 3, heights=(50.125,) * 3)
    order = {"width": "24 1/4", "height": "51"}
    result = checked_in(tmp_path, readings=SHORT, ordered=order, edit=edit, estimator=photo)
    assert "short-of-opening" not in [code for code, _ in notes(result)]


def test_where_the_rule_adds_nothing_across_only_head_and_sill_are_to_be_covered(tmp_path):
    edit = [('add = "1/2" ', 'add = "0" ')]
    photo = seen(widths=(24.5,) * 3, heights=(50.125,) * 3)
    order = {"width": "23 1/2", "height": "51"}
    result = checked_in(tmp_path, readings=SHORT, ordered=order, edit=edit, estimator=photo)
    assert [facts["edge"] for code, facts in notes(result) if code == "short-of-opening"] == ["below"]
