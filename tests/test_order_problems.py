"""What is and what is no problem of an order. Oracles: contract.md (Decision), the sample rules' figures by hand."""

from fractions import Fraction
from functools import partial
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from sizing.errors import InputError
from sizing.orders.order import order_of_photo
from sizing.orders.ordering import rule_of
from sizing.orders.rules import Made, Rule, SideRule
from tests.orders import INCH, SQUARE, checked_in, codes, opening_of, seen, unmeasured
from vision.request import PARTS, Estimate, Measure

NO_PANELS = '[panels]\nwidest = "37"\nnarrowest = "9"\ngap = "1/8"\nsplits = [[1], [1, 1], [1, 2, 1], [1, 1, 1, 1]]\n'
CHART = '"27", "33", "39", "45", "49", "51", "57", "59", "63", "69", "75", "81", "87", "93"]\nchoose = "nearest"'


@pytest.fixture
def checked(tmp_path):
    return partial(checked_in, tmp_path)


@pytest.mark.parametrize(
    ("least", "most", "typed", "expected"),
    [
        ("55 1/2", "55 1/2", "55 1/2", []),  # by the rule 55 1/2; both limits are made themselves
        ("18", "56", "58", ["not-by-rule", "above-maximum"]),
        ("18", "55", "54 3/4", ["not-by-rule"]),
        ("54", "144", "53", ["not-by-rule", "below-minimum"]),
        ("56", "144", "58", ["not-by-rule"]),
    ],
)
def test_the_size_typed_is_held_against_the_limits_and_not_that_by_the_rule(checked, least, most, typed, expected):
    edit = [('minimum = "18"', f'minimum = "{least}"'), ('maximum = "144"', f'maximum = "{most}"')]
    assert codes(checked(ordered={"width": typed, "height": "63"}, edit=edit)) == expected


def test_a_reading_for_which_nothing_is_made_is_not_taken_for_the_one_ordered_from(checked):
    # 50 + 3 = 53, below the smallest of the chart; by the largest, 63 1/8: 63.
    heights = ("50", "60 1/8", "60 1/8")
    edit = [(CHART, '"57", "63"]\nchoose = "next-down"'), ('taper_height = "3/4"\n', "")]
    estimator = seen(heights=(50.0, 60.125, 60.125))
    result = checked(SQUARE | {"height": heights}, {"width": "55 1/2", "height": "57"}, edit=edit, estimator=estimator)
    assert (codes(result), result.openings[0].fault) == (["not-by-rule"], None)


@pytest.mark.parametrize("widths", [(None, "54 3/8", "55 1/2"), ("55 1/2", "54 3/8", None)])
def test_a_taper_takes_both_of_its_readings(checked, widths):
    result = checked(SQUARE | {"width": widths}, None, estimator=seen(widths=(55.5, 54.375, 55.5)))
    assert (codes(result), result.openings[0].fault) == ([], None)


def test_an_opening_too_small_for_its_stations_is_judged_without_a_joint_test(checked):
    """Contract, Measures: widths are taken 2 in inside the corners; 4 1/2 in has no room for that."""
    small = {"width": ("4 1/2",) * 3, "height": ("4 1/2",) * 3}
    result = checked(small, None, rule=None, estimator=unmeasured)
    assert (result.openings[0].crosscheck, result.openings[0].fault) == (None, None)
    assert [r.test for r in result.openings[0].readings] == [None] * 6
    assert opening_of(result)["verdict"] == "unproven"


def test_a_rule_without_panels_splits_nothing(checked):
    result = checked(edit=[(NO_PANELS.rstrip("\n"), "")])
    assert (codes(result), opening_of(result)["verdict"]) == ([], "send")
    assert result.openings[0].order.panels_mm == ()


def test_between_stations_a_direction_without_readings_is_passed_over_and_the_other_is_not(checked):
    tight = {f"narrowest_{d}": Measure(size * INCH, 0.9, 500.0) for d, size in (("width", 53.0), ("height", 59.0))}
    inside = {"rule": "panel-inside", "sample": "panel-inside", "estimator": seen(further=tight)}
    result = checked({"height": SQUARE["height"]}, None, **inside)
    (problem,) = result.openings[0].order.problems
    assert (problem.code, problem.facts["direction"]) == ("tight-between", "height")


@pytest.mark.parametrize(
    ("more_mm", "u_mm", "said"),
    [
        (5.0, 10.0, False),  # P(within 6.35) = 0.55, less than U95
        (8.0, 10.0, True),  # 0.43: likelier than not beyond the tolerance
        (5.5, 1.0, True),  # 0.80, more than U95
        (1.0, 0.9, False),  # 1.00
    ],
)
def test_wider_between_stations_is_a_remark_where_it_is_likely_or_told(checked, more_mm, u_mm, said):
    # contract.md: a tolerance of 1/4 in; probabilities by the normal law.
    further = {"widest_width": Measure(54.375 * INCH + more_mm, u_mm, 500.0)}
    order = checked(estimator=seen(widths=(54.375, 54.0, 54.375), further=further)).openings[0].order
    assert [n.code for n in (*order.problems, *order.notes) if n.code == "wide-between"] == ["wide-between"] * said
    for note in order.notes:
        assert (note.facts["more_mm"], note.facts["U95_mm"]) == (pytest.approx(more_mm), 2 * u_mm)


def test_a_height_that_decides_wrongly_is_named_though_the_width_agrees(checked):
    heights = ("64 1/8", "60 1/8", "60 1/8")
    result = checked(SQUARE | {"height": heights}, {"width": "55 1/2", "height": "69"})
    assert codes(result) == ["taper-height", "doubtful-reading"]
    off = {p.code: p.facts.get("off_mm") for p in result.openings[0].order.problems}
    assert off["taper-height"] == pytest.approx(4 * INCH)
    (taper,) = checked(SQUARE | {"height": heights[::-1]}, None).openings[0].order.problems[:1]
    assert (taper.code, taper.facts["off_mm"]) == ("taper-height", pytest.approx(4 * INCH))


def test_the_size_by_the_rule_takes_the_room_above_into_account(checked):
    # 58 + 3 = 61, half-way between 59 and 63: the larger; with room above 1 in of hardware is left: 59.
    heights = {"readings": SQUARE | {"height": ("58",) * 3}, "ordered": None, "estimator": seen(heights=(58.0,) * 3)}
    for more, inch in (("", 63), ('clearances = { above = "9" }\n', 59)):
        assert opening_of(checked(more=more, **heights))["order"]["by_rule"]["height_mm"] == pytest.approx(inch * INCH)


def test_a_differing_reading_that_decides_but_leaves_the_size_as_it_is_is_no_problem(checked):
    # contract.md, Decision: it cannot change the ordered size. 61 1/8 + 3 or 60 1/8 + 3: 63 of the chart is nearest.
    readings = SQUARE | {"height": ("61 1/8", "60 1/8", "60 1/8")}
    result = checked(readings, edit=[('taper_height = "3/4"\n', "")])
    one = opening_of(result)
    assert [r["verdict"] for r in one["readings"]].count("differs") == 1
    assert (codes(result), one["verdict"], one["why_code"]) == ([], "send", "agree-that-count")


def test_without_a_photo_a_length_that_no_opening_has_puts_the_size_in_doubt(checked):
    result = checked(SQUARE | {"width": ("394", "54 3/8", "54 3/8")}, estimator=unmeasured)  # 10 m
    assert "doubtful-reading" in codes(result)
    assert opening_of(result)["verdict"] == "hold"


@pytest.mark.parametrize(
    ("which", "wanted", "u"), [("largest", 1010, 2.0), ("smallest", 990, 3.0), ("middle", 1010, 2.0)]
)
def test_the_uncertainty_of_a_wanted_size_is_that_of_the_station_it_comes_from(which, wanted, u):
    values = np.array([1000.0, 1010.0, 990.0, 1500.0, 1500.0, 1500.0, 1811.0, 1811.0, 0.0])
    cov = np.diag([1.0, 4.0, 9.0, *[1.0] * 6])
    answer = Estimate(values, cov, np.zeros((9, len(PARTS))), np.zeros(9), {}, (), (), (), (), "photo")
    rule = Rule("r", "r", Path("r.toml"), "0" * 64, "mm", SideRule(which), SideRule("middle"))
    found = order_of_photo(rule, answer)
    assert found.sizes_from == "photo"
    width = found.photo["width"]
    assert (width.wanted_mm, width.U95_mm) == (pytest.approx(wanted), pytest.approx(2 * u, rel=1e-6))


def test_the_made_size_of_a_photo_has_the_probability_that_the_normal_law_gives():
    values = np.array([1000.0, 1011.0, 1000.0, 1500.0, 1500.0, 1500.0, 1811.0, 1811.0, 0.0])
    answer = Estimate(values, 4.0 * np.eye(9), np.zeros((9, len(PARTS))), np.zeros(9), {}, (), (), (), (), "photo")
    tens = SideRule("middle", made=Made(Fraction(10)))
    width = order_of_photo(Rule("r", "r", Path("r.toml"), "0" * 64, "mm", tens, tens), answer).photo["width"]
    # Contract, Decision: 1 % for each jamb to be another line, sd 25 mm.
    near, far = (stats.norm.cdf(4, 0, u) - stats.norm.cdf(-6, 0, u) for u in (2.0, np.hypot(2.0, 25.0)))
    assert width.made_mm == 1010.0
    assert width.probability == pytest.approx(0.99**2 * near + 2 * 0.01 * far, abs=0.002)


def test_a_rule_above_the_desks_folder_is_not_the_rule_of_a_job(tmp_path):
    # contract.md, Job file: looked for beside the job, in its parents up to the desk's folder.
    job_folder = tmp_path / "desk" / "job"
    job_folder.mkdir(parents=True)
    job = checked_in(job_folder).job
    (job_folder / "rules").rename(tmp_path / "rules")
    assert isinstance(rule_of(job, job.openings[0], top=tmp_path), Rule)
    assert isinstance(rule_of(job, job.openings[0], top=tmp_path / "desk"), InputError)
