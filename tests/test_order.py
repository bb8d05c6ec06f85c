"""Facts about orders and their problems. Oracles: contract.md (Decision), common practice (no source), by hand."""

from functools import partial

import numpy as np
import pytest

from sizing.check import exit_of
from sizing.exits import Exit
from tests.orders import INCH, SQUARE, checked_in, codes, opening_of, seen
from vision.request import Measure


@pytest.fixture
def checked(tmp_path):
    return partial(checked_in, tmp_path)


def test_an_order_by_the_rule_may_be_sent(checked):
    result = checked()
    one = opening_of(result)
    assert one["verdict"] == "send"
    order = one["order"]
    assert order["by_rule"] == order["ordered"] == {"width_mm": 1409.7, "height_mm": 1600.2}
    assert (order["rule"], order["problems"], order["notes"]) == ("louvered-outside", [], [])
    assert len(order["rule_sha256"]) == 64
    assert order["deciding"] == {"width": "width_top", "height": "height_left"}


def test_photo_and_combined_sizes_stand_beside_as_evidence(checked):
    order = opening_of(checked(estimator=seen(widths=(54.5,) * 3)))["order"]
    assert order["by_rule"]["width_mm"] == 1409.7
    photo, combined = order["photo"]["width"], order["combined"]["width"]
    # The photo's 54 1/2 + 1; combined lies between it and the tape's 54 3/8 + 1.
    assert photo["wanted_mm"] == pytest.approx(55.5 * INCH, abs=0.01)
    assert 55.375 * INCH < combined["wanted_mm"] < 55.5 * INCH
    assert combined["U95_mm"] < photo["U95_mm"] == pytest.approx(1.8)
    assert order["sizes_from"] == "combined"
    assert sum(s["probability"] for s in order["sizes"]) == pytest.approx(1.0, abs=0.02)


def test_readings_of_one_tape_do_not_average_its_own_error_out(checked):
    """Oracle: weighted least squares in its information form (Mikhail and Ackermann 1976, ch. 4), covariance by hand.

    Class II: MPE 0.9 mm up to 2 m, 1.1 mm up to 3 m, 0.7 mm of it the zero (Directive 2014/32/EU, annex X); mark
    1/16 in, placing 0.8 mm, tilt by 25 mm; a diagonal is held 2 mm off its corner.
    """
    readings = SQUARE | {"diagonal": ("81 1/16",) * 2}
    order = opening_of(checked(readings, estimator=seen(u_mm=0.6, u_scale=0.0025)))["order"]
    lengths = np.array([54.375] * 3 + [60.125] * 3 + [81.0625] * 2) * INCH
    permitted = np.array([0.9] * 6 + [1.1] * 2)
    scale = np.sqrt((permitted**2 - 0.7**2) / 3)
    noise = (INCH / 16) ** 2 / 12 + 0.8**2 + (np.hypot(lengths, 25) - lengths) ** 2 / 3
    tape = 0.7**2 / 3 + np.outer(scale, scale) + np.diag(noise + 2.0**2 * np.array([0] * 6 + [1] * 2))
    photo = 0.6**2 * np.eye(8) + 0.0025**2 * np.outer(lengths, lengths)
    both = np.linalg.inv(np.linalg.inv(photo) + np.linalg.inv(tape))
    assert order["combined"]["width"]["U95_mm"] == pytest.approx(2 * np.sqrt(both[0, 0]), rel=0.01)
    assert order["combined"]["height"]["U95_mm"] == pytest.approx(2 * np.sqrt(both[3, 3]), rel=0.01)
    apart = np.linalg.inv(np.linalg.inv(photo) + np.diag(1 / np.diag(tape)))
    assert both[0, 0] > 1.3 * apart[0, 0]  # as if each reading had a tape of its own


def test_the_order_is_computed_from_readings_whatever_the_photo_says(checked):
    far = checked(estimator=seen(widths=(60.0,) * 3))
    assert opening_of(far)["order"]["by_rule"] == {"width_mm": 1409.7, "height_mm": 1600.2}


def test_a_size_that_is_not_the_rules_holds(checked):
    result = checked(ordered={"width": "58", "height": "63"})
    one = opening_of(result)
    assert (one["verdict"], one["why_code"], codes(result)) == ("hold", "order-problem", ["not-by-rule"])
    assert "55 1/2 in" in one["order"]["problems"][0]["says"]
    assert exit_of([result]) == Exit.HOLD


def test_an_order_typed_in_millimetres_is_the_rules_to_half_a_millimetre(checked):
    assert codes(checked(ordered={"width": "1410 mm", "height": "1600 mm"})) == []
    assert codes(checked(ordered={"width": "1411 mm", "height": "1600 mm"})) == ["not-made"]


def test_a_size_from_the_wrong_reading_names_both(checked):
    readings = SQUARE | {"width": ("53 3/4", "54 3/8", "54 1/4")}
    result = checked(readings, {"width": "54 3/4", "height": "63"}, estimator=seen(widths=(53.75, 54.375, 54.25)))
    assert codes(result) == ["wrong-reading"]
    says = opening_of(result)["order"]["problems"][0]["says"]
    assert "width, top" in says
    assert "largest counts, width, middle" in says


def test_a_size_that_is_not_in_the_chart_holds(checked):
    result = checked(ordered={"width": "55 1/2", "height": "62 1/8"})
    assert (opening_of(result)["verdict"], codes(result)) == ("hold", ["not-made"])


def test_out_of_square_and_taper_beyond_the_rules_limits_hold(checked):
    readings = {
        "width": ("54 3/8", "54 3/8", "55 1/2"),
        "height": ("60 1/8", "60 1/8", "59"),
        "diagonal": ("81 1/4", "82 1/2"),
    }
    result = checked(readings, ordered=None)
    assert {"out-of-square", "taper-width", "taper-height"} <= set(codes(result))
    limit = [p["says"] for p in opening_of(result)["order"]["problems"] if p["code"] == "out-of-square"]
    assert "1 1/4 in" in limit[0]


def test_sizes_beyond_what_is_made_hold(checked):
    edit = [('minimum = "18"', 'minimum = "60"')]
    assert "below-minimum" in codes(checked(edit=edit))
    edit = [('maximum = "144"', 'maximum = "50"')]
    assert "above-maximum" in codes(checked(edit=edit))


def test_a_chart_without_a_size_large_enough_holds(checked):
    chart = '"27", "33", "39", "45", "49", "51", "57", "59", "63", "69", "75", "81", "87", "93"]\nchoose = "nearest"'
    result = checked(ordered=None, edit=[(chart, '"27", "33"]\nchoose = "next-up"')])
    assert codes(result) == ["no-made-size"]
    assert opening_of(result)["order"]["by_rule"]["height_mm"] is None


def test_wide_openings_are_split_and_what_cannot_be_split_holds(checked):
    assert opening_of(checked())["order"]["panels_mm"] == [pytest.approx((55.5 - 0.125) / 2 * INCH, abs=0.01)] * 2
    assert codes(checked(edit=[('widest = "37"', 'widest = "10"')])) == ["no-split"]


def test_less_room_than_the_rule_needs_holds_and_room_above_saves_hardware(checked):
    tight = checked(more='clearances = { below = "1/2" }\n')
    assert codes(tight) == ["no-room"]
    assert codes(checked(more='clearances = { below = "1" }\n')) == []
    # 60 1/8 + 3 - 1 1/2 = 61 5/8: nearer to 63 than to 59; by 2 in or more to 61 1/8, still 63; chart says 63.
    roomy = checked(more='clearances = { above = "9" }\n', ordered={"width": "55 1/2", "height": "63"})
    assert opening_of(roomy)["order"]["photo"]["height"]["wanted_mm"] == pytest.approx(61.125 * INCH, abs=0.01)


def narrow(name, inch, u_mm=0.9):
    return {name: Measure(inch * INCH, u_mm, 500.0)}


INSIDE = {"width": "54 1/8", "height": "59 3/4"}


def test_an_inside_mount_that_is_tight_between_the_stations_holds(checked):
    # The tolerance is 1/4 in: half an inch narrower is beyond it for sure, 1/4 in may be, nothing is not.
    def run(inch):
        return checked(
            ordered=INSIDE,
            rule="panel-inside",
            sample="panel-inside",
            estimator=seen(further=narrow("narrowest_width", inch)),
            head='tolerance = "1/4"\n',
        )

    assert codes(run(53.875)) == ["tight-between"]
    assert (codes(run(54.125)), codes(run(54.125), "notes")) == ([], ["tight-between"])
    assert (codes(run(54.375)), codes(run(54.375), "notes")) == ([], [])
    says = opening_of(run(53.875))["order"]["problems"][0]["says"]
    assert "narrower: by about 1/2 in, give or take 1/8 in" in says


def test_an_overlapping_mount_that_is_too_wide_between_the_stations_holds(checked):
    result = checked(estimator=seen(further=narrow("widest_height", 61.0)))
    assert codes(result) == ["wide-between"]
    assert "higher" in opening_of(result)["order"]["problems"][0]["says"]


def test_a_rule_by_the_middle_reading_looks_nowhere_else(checked):
    estimator = seen(further=narrow("widest_width", 57.0) | narrow("narrowest_width", 40.0))
    assert codes(checked(estimator=estimator, edit=[('reading = "largest"       #', 'reading = "middle" #')])) == []


@pytest.mark.parametrize("made", ['step = "1/4"\nchoose = "nearest"\n', ""], ids=["steps", "any size"])
def test_a_rule_that_takes_away_more_than_there_is_orders_nothing(checked, made):
    """Found: with -39 in on each side the order was -23 3/4 in wide. Nothing is made that is not above 0."""
    edit = [('add = "1/2" ', 'add = "-39" '), ('step = "1/4"\nchoose = "nearest"\n', made)]
    result = checked(ordered=None, edit=edit)
    order = opening_of(result)["order"]
    assert codes(result)[0] == "no-made-size"
    assert order["by_rule"]["width_mm"] is None
    assert "No made width fits -23 5/8 in." in order["problems"][0]["says"]
    assert [size["width_mm"] for size in order["sizes"]] == [None]
    assert opening_of(result)["verdict"] == "hold"
