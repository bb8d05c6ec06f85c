"""Which readings can change an order. Oracles: contract.md (Decision), arithmetic by hand."""

from functools import partial

import numpy as np
import pytest

from sizing.terminal import job_text
from tests.orders import INCH, SQUARE, checked_in, codes, opening_of, reading, seen, unmeasured


@pytest.fixture
def checked(tmp_path):
    return partial(checked_in, tmp_path)


def test_a_burned_inch_in_the_reading_that_decides_holds_and_is_named(checked):
    readings = SQUARE | {"width": ("54 3/8", "55 3/8", "54 3/8")}
    result = checked(readings, {"width": "56 1/2", "height": "63"})
    one = opening_of(result)
    assert (one["verdict"], one["why_code"]) == ("hold", "reading-differs")
    assert codes(result) == ["doubtful-reading"]
    middle = reading(result, "width_middle")
    assert (middle["holds"], middle["counts"]) == (True, True)
    assert middle["p_changes_order"] == pytest.approx(1.0, abs=0.05)
    assert one["order"]["left_out"] == ["width_middle"]


SLIM = (("54 3/8", "55 3/8", "53 3/8"), (54.375, 55.375, 54.375))


def test_a_differing_reading_that_cannot_change_the_order_does_not_hold_and_says_why(checked):
    # The bottom is an inch short, yet only the largest counts, and it is an inch larger than the truth there.
    readings = SQUARE | {"width": SLIM[0]}
    result = checked(
        readings,
        {"width": "56 1/2", "height": "63"},
        estimator=seen(widths=SLIM[1]),
        edit=[('taper_width = "3/4"\n', "")],
    )
    bottom = reading(result, "width_bottom")
    assert (bottom["verdict"], bottom["holds"], bottom["counts"]) == ("differs", False, False)
    assert "does not change" in bottom["why_not_counted"]
    assert bottom["p_changes_order"] < 0.01
    assert opening_of(result)["verdict"] == "send"
    assert "does not stop it" in job_text(result)


def test_without_an_order_or_without_a_rule_every_reading_counts(checked):
    readings = SQUARE | {"width": SLIM[0]}
    edit = [('taper_width = "3/4"\n', "")]
    for more in ({"ordered": None}, {"rule": None, "ordered": {"width": "56 1/2", "height": "63"}}):
        result = checked(readings, estimator=seen(widths=SLIM[1]), edit=edit, **more)
        assert reading(result, "width_bottom")["holds"]
        assert opening_of(result)["verdict"] == "hold"


@pytest.mark.parametrize(
    ("group", "read", "seen_as", "wrong"),
    [
        ("width", SLIM[0], SLIM[1], "width_bottom"),
        ("width", SLIM[0][::-1], SLIM[1], "width_top"),
        ("height", ("60 1/8", "61 1/8", "59 1/8"), (60.125, 61.125, 60.125), "height_right"),
        ("height", ("59 1/8", "61 1/8", "60 1/8"), (60.125, 61.125, 60.125), "height_left"),
    ],
)
def test_a_reading_that_hides_a_taper_beyond_the_limit_counts(checked, group, read, seen_as, wrong):
    # As above, but the rule limits the taper: the reading says 1 in where there is none.
    ordered = {"width": "56 1/2" if group == "width" else "55 1/2", "height": "63"}
    result = checked(SQUARE | {group: read}, ordered, estimator=seen(**{f"{group}s": seen_as}))
    assert (reading(result, wrong)["verdict"], reading(result, wrong)["holds"]) == ("differs", True)
    # What agrees is not put right, and is not asked about.
    assert [r.reading.name for r in result.openings[0].readings if r.p_changes is not None] == [wrong]


def test_one_slip_in_two_readings_cannot_excuse_either(checked):
    readings = SQUARE | {"width": ("55 3/8", "55 3/8", "54 3/8")}
    result = checked(readings, {"width": "56 1/2", "height": "63"}, edit=[('taper_width = "3/4"\n', "")])
    assert reading(result, "width_top")["holds"]
    assert reading(result, "width_middle")["holds"]


def test_diagonals_count_where_the_rule_limits_out_of_square_and_else_not(checked):
    readings = SQUARE | {"diagonal": ("81 1/16", "83")}
    held = checked(readings)
    assert reading(held, "diagonal_up")["holds"]
    free = checked(readings, edit=[('out_of_square = "1"\n', "")])
    assert (reading(free, "diagonal_up")["verdict"], reading(free, "diagonal_up")["holds"]) == ("differs", False)
    assert opening_of(free)["verdict"] == "send"


def test_one_direction_alone_ordered_leaves_the_other_and_the_diagonals_counting(checked):
    readings = SQUARE | {"diagonal": ("81 1/16", "83")}
    result = checked(readings, {"width": "55 1/2"}, edit=[('out_of_square = "1"\n', "")])
    assert reading(result, "diagonal_up")["holds"]


def test_a_missing_reading_that_the_photo_shows_not_to_matter_is_no_obstacle(checked):
    # contract.md: for each absent one the photo's measure shown not to change the ordered size (p >= 0.95).
    readings = SQUARE | {"width": (None, "54 3/8", "54 3/8")}
    smaller = seen(widths=(54.0, 54.375, 54.375))
    edit = [('taper_width = "3/4"\n', "")]
    assert opening_of(checked(readings, estimator=smaller, edit=edit))["verdict"] == "send"
    larger = seen(widths=(54.75, 54.375, 54.375))
    one = opening_of(checked(readings, estimator=larger, edit=edit))
    assert (one["verdict"], one["why_code"]) == ("unproven", "readings-missing")
    no_order = opening_of(checked(readings, None, estimator=smaller, edit=edit))
    assert no_order["verdict"] == "unproven"


def test_a_direction_without_its_reading_has_no_size_and_is_unproven(checked):
    result = checked({"height": SQUARE["height"]}, {"height": "63"})
    one = opening_of(result)
    assert one["verdict"] == "unproven"
    assert one["order"]["by_rule"] == {"width_mm": None, "height_mm": 1600.2}
    assert (codes(result), codes(result, "notes")) == ([], ["no-size"])
    assert one["order"]["panels_mm"] == []
    assert "no width yet" in job_text(result)


def test_a_vague_photo_leaves_the_order_unproven_and_says_what_it_hangs_on(checked):
    result = checked(estimator=seen(u_mm=30.0))
    assert opening_of(result)["verdict"] == "unproven"
    assert codes(result) == []
    assert codes(result, "notes") == ["doubtful-reading", "doubtful-reading"]


def test_without_a_measure_sizes_rest_on_readings_and_nothing_is_sent(checked):
    one = opening_of(checked(estimator=unmeasured))
    assert one["verdict"] == "unproven"
    order = one["order"]
    assert (order["sizes_from"], order["photo"], order["combined"]) == ("readings", None, None)
    assert order["sizes"][0]["height_mm"] == 1600.2
    # An order problem holds also without a photo (contract, *Decision*).
    wrong = checked(estimator=unmeasured, ordered={"width": "50", "height": "63"})
    assert opening_of(wrong)["verdict"] == "hold"


def test_without_a_photo_widths_by_one_tape_are_too_short_together(checked):
    """Oracle: three normals of correlation r are all below their mean with 1/8 + 3 asin(r) / (4 pi) (orthants).

    54 3/8 + 1 is half-way between two made sizes, the largest counts; class II at 1.4 m: MPE 0.9 mm.
    """
    order = opening_of(checked(estimator=unmeasured))["order"]
    common = 0.9**2 / 3
    tilt = (np.hypot(54.375 * INCH, 25) - 54.375 * INCH) ** 2 / 3
    r = common / (common + (INCH / 16) ** 2 / 12 + 0.8**2 + tilt)
    small = sum(s["probability"] for s in order["sizes"] if s["width_mm"] == pytest.approx(55.25 * INCH))
    assert order["sizes_from"] == "readings"
    assert small == pytest.approx(1 / 8 + 3 * np.arcsin(r) / (4 * np.pi), abs=0.005)


def test_without_readings_and_without_a_measure_there_is_no_size(checked):
    order = opening_of(checked({}, None, estimator=unmeasured))["order"]
    assert (order["sizes"], order["sizes_from"]) == ([], None)


def test_readings_that_no_opening_has_are_left_out_of_the_evidence(checked):
    order = opening_of(checked(SQUARE | {"width": ("1",) * 3}, None))["order"]
    assert order["left_out"] == ["width_top", "width_middle", "width_bottom"]
    assert order["photo"]["width"] == order["combined"]["width"]
