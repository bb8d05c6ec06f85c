"""Rules that cannot be used, and what is said of orders and estimates. Oracles: contract.md (Result), by hand."""

import json
import re
from dataclasses import replace
from functools import partial
from pathlib import Path

import pytest
from scipy.special import ndtr

from sizing.desk.opening_view import order_facts
from sizing.json_values import as_text
from sizing.messages import footprint
from sizing.messages.names import name_of
from sizing.messages.order import CAUTIONS, problem_says
from sizing.messages.order_problems import in_short
from sizing.order_lines import caution_lines, estimate_order_lines
from sizing.orders.order import order_of_photo
from sizing.orders.rulefile import load_rule, sample_files
from sizing.report.report import build_report
from sizing.result.document import job_document
from sizing.result.orders import estimate_order_document
from sizing.terminal import complaints, job_text
from tests.orders import INCH, SQUARE, checked_in, codes, opening_of, reading, seen


@pytest.fixture
def checked(tmp_path):
    return partial(checked_in, tmp_path)


@pytest.mark.parametrize("rule", ["louvered-outsid", "none.toml"])
def test_a_rule_that_is_not_there_holds_and_is_said_on_stderr(checked, rule):
    result = checked(rule=rule)
    assert (opening_of(result)["verdict"], codes(result)) == ("hold", ["rule-unusable"])
    assert opening_of(result)["order"]["by_rule"] == {"width_mm": None, "height_mm": None}
    assert any(rule in line for line in complaints(result))


def test_a_rule_with_problems_is_named_as_seen_from_the_job(checked, tmp_path):
    result = checked(edit=[('reading = "largest"       #', 'reading = "widest" #')])
    says = opening_of(result)["order"]["problems"][0]["says"]
    assert "rules/louvered-outside.toml: width.reading: must be" in says
    assert str(tmp_path) not in says


def test_an_order_without_a_rule_is_compared_with_nothing_and_that_is_said(checked):
    one = opening_of(checked(rule=None))
    assert one["verdict"] == "send"
    assert "order-not-checked" in {w["code"] for w in one["warnings"]}
    assert one["order"]["ordered"] == {"width_mm": 1409.7, "height_mm": 1600.2}
    assert one["order"]["rule"] is None


def test_without_rule_and_order_there_is_no_order(checked):
    result = checked(rule=None, ordered=None)
    assert "order" not in opening_of(result)
    assert "rder:" not in job_text(result)


def test_a_size_that_is_not_made_is_said_also_where_the_rule_has_none(checked):
    result = checked({"width": SQUARE["width"]}, {"width": "55 1/2", "height": "62 1/8"})
    assert codes(result) == ["not-made"]


def test_the_rules_tolerance_holds_unless_the_job_says_its_own(checked):
    # The sample fears over by 3/16 in at an inside mount; a reading at that limit the default of 1/4 in would let go.
    readings = SQUARE | {"width": ("54 9/16",) * 3}
    strict = checked(readings, None, rule="panel-inside", sample="panel-inside", estimator=seen(u_mm=0.4))
    assert reading(strict, "width_top")["verdict"] != "agrees"
    assert opening_of(strict)["tolerance_mm"]["width_over"] == pytest.approx(25.4 * 3 / 16, abs=0.001)
    loose = checked(
        readings, None, rule="panel-inside", sample="panel-inside", estimator=seen(u_mm=0.4), head='tolerance = "1/4"\n'
    )
    assert reading(loose, "width_top")["verdict"] == "agrees"


def test_another_rule_file_makes_another_hash_of_the_inputs(checked):
    before = opening_of(checked())["inputs_sha256"]
    after = opening_of(checked(edit=[('id = "louvered-outside"', 'id = "louvered-outside"  #')]))["inputs_sha256"]
    assert before != after


def test_the_order_is_strict_json_and_the_same_each_time(checked):
    texts = [as_text(job_document(checked())) for _ in range(2)]
    assert texts[0] == texts[1]
    assert json.loads(texts[0])


def test_an_estimate_lists_made_sizes_marked_as_not_for_ordering(tmp_path):
    (tmp_path / "r.toml").write_bytes(sample_files()["louvered-outside.toml"])
    rule = load_rule(tmp_path / "r.toml")

    class Asked:
        photos = (type("P", (), {"path": tmp_path / "x.jpg"})(),)

    order = order_of_photo(rule, seen()(Asked(), None))
    document = estimate_order_document(order)
    assert document["not_for_ordering"] is True
    assert sum(s["probability"] for s in document["sizes"]) == pytest.approx(1.0, abs=0.02)
    assert document["sizes"][0]["height_mm"] == 1600.2
    lines = estimate_order_lines(order, "in")
    assert "Not for ordering" in lines[0]
    assert any("less likely" in line for line in lines)
    # Rows of nothing tell nothing: common practice, no source.
    assert not any(line.endswith(": under 1 %") for line in lines)
    assert sum(line.endswith(" %") for line in lines) == sum(share.probability >= 0.01 for share in order.sizes)
    assert estimate_order_lines(None, "in") == []
    (tmp_path / "few.toml").write_text(
        '[rule]\nid = "few"\ntitle = "few"\nunits = "in"\n[width]\nreading = "largest"\nstep = "10"\n'
        'choose = "nearest"\n[height]\nreading = "largest"\nstep = "10"\nchoose = "nearest"\n'
    )
    lines = estimate_order_lines(order_of_photo(load_rule(tmp_path / "few.toml"), seen()(Asked(), None)), "in")
    assert not any("less likely" in line or "Confirm" in line for line in lines)


def test_cautions_stand_with_every_rule_and_only_with_one(checked):
    result = checked()
    text = job_text(result)
    assert "Confirm on site: room above" in text
    for caution in CAUTIONS:
        assert caution in text
    assert opening_of(result)["order"]["cautions"] == list(CAUTIONS)
    assert caution_lines([None]) == []
    assert "way out" not in job_text(checked(rule=None))


def test_a_rule_that_confirms_nothing_still_says_what_sizes_are_not(checked):
    confirm = '["room-above", "obstacles", "substrate", "escape-opening", "debris-region", "ladder", "bars-and-covers"]'
    text = job_text(checked(edit=[(confirm, "[]")]))
    assert "Confirm on site" not in text
    assert CAUTIONS[0] in text


def test_how_sure_photo_and_tape_are_is_said_where_sizes_come_in_steps(checked):
    assert "sure of this size" in job_text(checked())
    step = [('step = "1/4"\nchoose = "nearest"\n', "")]
    assert "sure of this size" not in job_text(checked(edit=step, ordered=None))
    # Ten inches in every width: the size by the rule is none that photo and tape think of.
    far = checked(SQUARE | {"width": ("64 3/8",) * 3}, None)
    assert "under 1 % sure" in job_text(far)


def border(result):
    (note,) = [n for n in opening_of(result)["order"]["notes"] if n["code"] == "on-the-border"]
    return note["says"]


def test_an_order_half_way_between_two_made_sizes_names_both_with_their_probabilities(checked):
    # 54 3/8 + 1 = 55 3/8 in, half-way between 55 1/4 and 55 1/2; the larger is taken. The photo sees 1/16 in less.
    middle = [('reading = "largest"       # it', 'reading = "middle"       # it')]
    result = checked(ordered=None, edit=middle, estimator=seen(widths=(54.3125,) * 3))
    assert opening_of(result)["verdict"] == "send"
    says = border(result)
    assert "width, middle is 54 3/8 in; the rule makes 55 3/8 in of it" in says
    assert "exactly half-way between the made sizes 55 1/4 in and 55 1/2 in" in says
    assert "the size by the rule stands" in says
    assert "measure width, middle again to a finer mark" in says
    assert says in job_text(result)
    # Closed formula (scipy.special.ndtr): what lies below half-way of a normal distribution; 1 % is another line's.
    order = opening_of(result)["order"]
    seen_mm, u_mm = (order["combined"]["width"][key] for key in ("wanted_mm", "U95_mm"))
    below = float(ndtr((55.375 * 25.4 - seen_mm) / (u_mm / 2)))
    told = re.search(r"55 1/4 in is likelier \((\d+) %; the rule's 55 1/2 in: (\d+) %", says)
    assert below > 0.5
    assert float(told[1]) / 100 == pytest.approx(below, abs=0.02)
    assert float(told[2]) / 100 == pytest.approx(1.0 - below, abs=0.02)


def test_a_likelier_size_beside_the_rules_is_a_remark_where_all_readings_agree(checked):
    # 1/4 in more than the photo sees, which the rule's tolerance allows, makes the next size of a step of 1/4 in.
    readings = SQUARE | {"width": ("54 3/8", "54 3/8", "54 5/8")}
    result = checked(readings, None)
    assert opening_of(result)["verdict"] == "send"
    assert "55 1/2 in is likelier" in border(result)
    assert codes(checked(), "notes") == []
    # The height too, 55 + 3 in half-way between the chart's 57 and 59 in and seen 3/16 in less: each is remarked on.
    both = checked(readings | {"height": ("55",) * 3}, None, estimator=seen(heights=(54.8125,) * 3))
    notes = [n["says"] for n in opening_of(both)["order"]["notes"] if n["code"] == "on-the-border"]
    assert [said.split(",")[0] for said in notes] == ["width", "height"]
    # Where a reading differs, that is what matters.
    assert "on-the-border" not in codes(checked(SQUARE | {"width": ("54 3/8", "54 3/8", "55 3/8")}, None), "notes")


def test_two_sizes_that_are_both_doubtful_name_the_less_sure_one(checked):
    # A hair below 55 3/8 and 61 in, half-way between made sizes: each is likelier than not, both together are not.
    edit = [('"59", "63"', '"59", "60 7/8", "61 1/8", "63"'), ('largest"       # it', 'middle"       # it')]
    edit += [('reading = "largest"\nhardware', 'reading = "middle"\nhardware')]
    sizes = SQUARE | {"width": ("54 23/64",) * 3, "height": ("57 63/64",) * 3}
    sees = seen(widths=(54.365,) * 3, heights=(57.995,) * 3)
    result = checked(sizes, None, edit=edit, estimator=sees)
    chances = [(s["width_mm"], s["height_mm"], s["probability"]) for s in opening_of(result)["order"]["sizes"]]
    by_rule = opening_of(result)["order"]["by_rule"]
    p = {d: sum(c[2] for c in chances if c[i] == by_rule[f"{d}_mm"]) for i, d in enumerate(("width", "height"))}
    assert 0.5 < p["height"] < p["width"]
    assert p["height"] * p["width"] < 0.5
    assert border(result).startswith("height, middle is ")
    assert "nearly as likely" in border(result)
    assert "near the border" in border(result)


def test_made_sizes_as_fine_as_the_tapes_marks_are_no_border(checked):
    # By 1/16 in down from a reading to 1/16 in: always on a mark, and no tape tells the two sizes apart.
    inside = checked(ordered=None, rule="panel-inside", sample="panel-inside")
    assert opening_of(inside)["order"]["sizes"][0]["width_mm"] != opening_of(inside)["order"]["by_rule"]["width_mm"]
    assert codes(inside, "notes") == []


def test_where_no_other_size_is_made_there_is_no_border(checked):
    # The one size made is the 60 1/8 + 3 in that were read; of what photo and tape think, half is above it.
    chart = '"27", "33", "39", "45", "49", "51", "57", "59", "63", "69", "75", "81", "87", "93"]\nchoose = "nearest"'
    one = checked(ordered=None, edit=[(chart, '"63 1/8"]\nchoose = "next-up"')])
    assert any(s["height_mm"] is None for s in opening_of(one)["order"]["sizes"])
    assert codes(one, "notes") == []


def test_a_lack_of_room_is_said_with_both_lengths():
    assert problem_says("no-room", {"side": "below", "there_mm": 12.7, "needed_mm": 25.4}, "in").startswith(
        "Free below the opening: 1/2 in"
    )


def test_an_order_in_decimals_is_said_as_it_stands(checked):
    # 55.3 in is 55 9.6/32 in: no rounded size may stand for the one that is ordered. Common practice, no source.
    result = checked(ordered={"width": "55.3", "height": "63"})
    (problem,) = opening_of(result)["order"]["problems"]
    assert problem["says"].startswith("No width of 55.3 in is made; by the rule it is 55 1/2 in.")
    assert "55.3 in x 63 in (ordered)" in build_report(result, "2026-05-04", (), print).pages[0].order_size
    assert order_facts(opening_of(result), "in")["ordered"] == "55.3 in wide, 63 in high"
    # A result is rounded to 0.01 mm (contract, *Commands*); 55 3/8 in is 1406.525 mm, 55 1/8 in 1400.175 mm.
    eighths = {"order": {"ordered": {"width_mm": 1406.53, "height_mm": 1400.17}}}
    assert order_facts(eighths, "in")["ordered"] == "55 3/8 in wide, 55 1/8 in high"
    assert footprint.size_line(55.3 * INCH, 63 * INCH, "ordered", "in") == "55.3 in wide, 63 in high, as ordered"


def test_every_problem_of_an_order_has_a_name_in_plain_words():
    # Read off the code, so that none is forgotten; a code is no name for people: common practice, no source.
    sources = [p.read_text() for p in (Path(__file__).parent.parent / "sizing").rglob("*.py")]
    found = {c for text in sources for c in re.findall(r'(?:OrderNote|Difference)\(\s*"([a-z-]+)"', text)}
    remarks = {"no-size", "short-of-opening", "on-the-border", "obstacle-unsure", "obstacle-not-placed"}
    remarks |= {"clearance-unsure", "typed-unknown-opening"}  # no problems of an opening
    for code in found - remarks | {"typed-width", "typed-height", "tight-between", "taper-width", "out-of-square"}:
        assert in_short([code]) != name_of(code), code


def test_the_reason_of_a_hold_for_its_order_is_said_in_plain_words(checked):
    one = opening_of(checked(ordered={"width": "55 1/4", "height": "63 1/2"}))
    assert one["why"] == "The order has a problem: not the size by the rule; no such size is made."


def test_a_rule_that_two_openings_cannot_use_is_complained_of_once(checked):
    result = checked(rule="no-such-rule")
    (one,) = result.openings
    both = replace(result, openings=(one, replace(one, opening=replace(one.opening, label="W2"))))
    (line,) = complaints(both)
    assert line.startswith(f"{result.file}: W1, W2: rule: no rule 'no-such-rule'")
