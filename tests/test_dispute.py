"""Facts about a traced job. Oracle: the step that was made to slip; real files, the photos' figures by hand."""

import hashlib
import json
from datetime import UTC, datetime

import numpy as np
import pytest

from sizing.decided import Decision
from sizing.dispute.dispute import trace_job
from sizing.dispute.record import dispute_document, dispute_text
from sizing.dispute.steps import load_settings
from sizing.errors import InputError
from sizing.release.decisions import append_decision
from sizing.units import format_uncertainty
from vision.request import PARTS, Estimate, NotMeasured, PhotoReport

HEAD = '[job]\nid = "harbor-114"\nunits = "in"\ntape = "class-2"\nmeasured_by = "crew 2"\n'
PHOTOS = 'photos = ["a.jpg", { file = "b.jpg", when = "after" }]'
RULE = """[rule]
id = "plain"
title = "invented"
units = "in"
[width]
reading = "largest"
add = "1/2"
step = "1/8"
choose = "nearest"
[height]
reading = "largest"
step = "1/8"
choose = "nearest"
"""
# As told: widths, what the rule gives (1 in more), ordered and delivered.
SOUND = {"top": "54 3/8", "middle": "54 3/8", "bottom": "54 3/8", "ordered": "55 3/8", "delivered": "55 3/8"}
# An opening of 54 3/8 by 60 in.
VALUES = np.array([1381.125] * 3 + [1524.0] * 3 + [2056.6] * 2 + [0.0])


def opening(photos=PHOTOS, rule='rule = "plain"', visit="", **said):
    said = SOUND | said
    parts = [
        '[[opening]]\nlabel = "W1"\nwall = "masonry"',
        photos,
        rule,
        f'width = {{ top = "{said["top"]}", middle = "{said["middle"]}", bottom = "{said["bottom"]}" }}',
        f'ordered = {{ width = "{said["ordered"]}" }}' if said["ordered"] else "",
        f'delivered = {{ width = "{said["delivered"]}", tape = "class-2" }}' if said["delivered"] else "",
        visit,
    ]
    return "\n".join(parts) + "\n"


@pytest.fixture
def traced(tmp_path):
    (tmp_path / "rules").mkdir()
    (tmp_path / "rules" / "plain.toml").write_text(RULE)
    (tmp_path / "a.jpg").write_bytes(b"x" * 2000)
    (tmp_path / "b.jpg").write_bytes(b"y" * 2000)

    def trace(text, before=0.0, after=0.0, u_mm=1.0, lengths=VALUES):
        (tmp_path / "job.toml").write_text(HEAD + text)

        def seen(request, progress):
            path = request.photos[0].path
            shift = before if path.name == "a.jpg" else after
            report = PhotoReport(path, hashlib.sha256(path.read_bytes()).hexdigest(), (4032, 3024))
            cov = u_mm**2 * (0.8 + 0.2 * np.eye(9))
            values = lengths + shift * (np.arange(9) < 3)
            zeros = np.zeros((9, len(PARTS)))
            return Estimate(values, cov, zeros, np.zeros(9), {}, (), (), (report,), (), "corners")

        return trace_job(tmp_path, estimator=seen)

    return trace


def document(found):
    return dispute_document(found, load_settings(), ["secondtape 0.1.0"])


def width(found):
    return document(found)["openings"][0]["directions"][0]


def best(found):
    step = width(found)["steps"][0]
    return step["steps"], step["probability"], step["error_mm"]


def test_a_sound_chain_shows_no_step(traced):
    part = width(traced(opening()))
    assert part["none"]["probability"] > 0.95
    assert max(step["probability"] for step in part["steps"]) < 0.05


def test_a_burned_inch_in_one_box_points_to_measuring_or_writing_down(traced):
    # 1 in in one box; ordered and made by the rule from it.
    found = traced(opening(middle="55 3/8", ordered="56 3/8", delivered="56 3/8"))
    steps, p, error = best(found)
    assert steps == ["reading"]
    assert p > 0.99
    assert error == pytest.approx(25.4, abs=3.0)
    assert width(found)["steps"][0]["station"] == "width_middle"
    assert width(found)["fit_mm"] == pytest.approx(25.4, abs=0.01)
    # The rule makes steps of 1/8 in: within the photo's 2 mm lies the next size; with it the tape's (JCGM 100, 5.1.2).
    u_tape = width(found)["u_delivered_mm"]
    assert width(found)["fit_U95_mm"] == pytest.approx(np.hypot(3.175, 2 * u_tape), abs=0.01)
    assert f"give or take {format_uncertainty(width(found)['fit_U95_mm'], 'in')}." in width(found)["fit"]
    assert "measured or written down" in dispute_text(document(found))


def test_another_size_ordered_than_the_rule_gives_points_to_ordering(traced):
    steps, p, error = best(traced(opening(ordered="56 3/8", delivered="56 3/8")))
    assert steps == ["ordered"]
    assert p > 0.99
    assert error == pytest.approx(25.4, abs=0.01)


def test_a_piece_made_short_points_to_making(traced):
    steps, p, error = best(traced(opening(delivered="54 3/8")))
    assert steps == ["made", "delivered"]  # one number on the piece cannot say whether it was read wrongly
    assert p > 0.99
    assert error == -25.4  # 54 3/8 less 55 3/8 in, whichever of the two it was


def test_without_an_order_a_piece_off_the_rule_was_ordered_or_made_so(traced):
    # By the rule 54 3/8 + 1/2 + 1/2 = 55 3/8 in (as SOUND); 1 in less arrived.
    found = traced(opening(ordered="", delivered="54 3/8"))
    steps, p, error = best(found)
    assert steps == ["ordered", "made", "delivered"]
    assert p > 0.99
    assert error == -25.4
    assert width(found)["none"]["probability"] < 0.01
    assert {m["step"] for m in width(found)["no_figure"]} == set()
    text = dispute_text(document(found))
    assert "by the rule the first readings give 55 3/8 in; delivered measures 54 3/8 in" in text
    assert "ordered or made than the rule gives" in text
    assert "about 1 in too short" in text
    assert "The size as it was ordered" in text


def test_without_an_order_a_piece_of_the_rule_s_size_shows_no_step(traced):
    part = width(traced(opening(ordered="")))
    assert part["none"]["probability"] > 0.95
    # Made pieces are true to 1.5 mm (data/dispute.toml), so 1/16 in = 1.6 mm is no slip.
    assert width(traced(opening(ordered="", delivered="55 7/16")))["none"]["probability"] > 0.9


def test_without_an_order_a_piece_of_earlier_readings_is_held_to_these(traced):
    # The first middle gives 56 3/8 in, as delivered; visit 1 put it right.
    visit = '[[opening.visit]]\nby = "crew 5"\nwidth = { middle = "54 3/8" }\n'
    part = width(traced(opening(middle="55 3/8", ordered="", delivered="56 3/8", visit=visit)))
    assert part["order_from_visit"] == 0
    assert part["by_rule_mm"] == 1431.925
    assert part["steps"][0]["steps"] == ["reading"]


def test_the_likeliest_comes_first_under_one_sentence_on_the_opening(traced):
    lines = dispute_text(document(traced(opening()))).splitlines()
    at = next(i for i, line in enumerate(lines) if line.startswith("  W1: "))
    assert lines[at].startswith("  W1: width: no sign of a slip in the steps with a figure (")
    assert "none of the steps with a figure slipped" in lines[at + 2]
    short = dispute_text(document(traced(opening(delivered="54 3/8")))).splitlines()
    assert sum(line.startswith("  W1: ") for line in short) == 1
    assert "made than ordered, or the delivered piece was measured wrongly (over 99 %)" in short[at]
    assert "about 1 in too short" in short[at + 2]


def test_steps_under_1_percent_each_are_one_line_and_stay_in_the_record(traced):
    # Who reads a record looks for what is left: common practice, no source.
    found = traced(opening(ordered="56 3/8", delivered="56 3/8"))
    text = dispute_text(document(found))
    of_width = text.split("  W1, width\n")[1].split("  W1, height\n")[0]
    chances = [line.strip() for line in of_width.splitlines() if " %" in line.split(":")[0]]
    assert [line.split(":")[0].split(" (")[0] for line in chances] == ["over 99 %", "under 1 % each"]
    assert chances[1].endswith("and that none of the steps with a figure slipped.")
    assert sum(step["probability"] < 0.01 for step in [*width(found)["steps"], width(found)["none"]]) > 1


def test_one_step_under_1_percent_alone_is_said_as_it_is(traced):
    found = document(traced(opening(ordered="56 3/8", delivered="56 3/8")))
    for part in found["openings"][0]["directions"]:
        part["steps"] = part["steps"][:1]
    text = dispute_text(found)
    assert "each" not in text
    assert "none of the steps with a figure slipped" in text


def test_a_reading_in_evidence_carries_its_unit(traced):
    text = dispute_text(document(traced(opening(middle="55 3/8", ordered="56 3/8", delivered="56 3/8"))))
    assert "width, middle: the tape said 55 3/8 in, the photo" in text


def test_an_opening_that_is_smaller_now_is_one_with_a_photo_that_misleads(traced):
    steps, p, error = best(traced(opening(), after=-25.4))
    assert steps == ["changed", "photo:after"]
    assert p > 0.99
    assert error is None


def test_two_steps_may_have_slipped(traced):
    part = width(traced(opening(middle="55 3/8", ordered="56 3/8", delivered="55 3/8")))
    sure = [step["steps"] for step in part["steps"] if step["probability"] > 0.99]
    assert sorted(sure) == [["made", "delivered"], ["reading"]]


def test_all_boxes_off_alike_are_one_with_a_photo_that_misleads_until_a_second_photo_sees_it(traced):
    shifted = {"top": "55 3/8", "middle": "55 3/8", "bottom": "55 3/8", "ordered": "56 3/8", "delivered": "56 3/8"}
    alone = traced(opening(photos='photos = ["a.jpg"]', **shifted))
    assert best(alone)[0] == ["readings", "photo:before"]
    assert best(alone)[1] > 0.95
    both = traced(opening(**shifted))
    assert best(both)[0] == ["readings"]
    assert best(both)[1] > 0.9


def test_without_evidence_of_its_own_a_step_has_no_figure(traced):
    found = traced(opening(photos="", rule="", ordered="", delivered=""))
    part = width(found)
    codes = {m["step"]: m["code"] for m in part["no_figure"]}
    assert codes == {
        "readings": "no-photo-before",
        "ordered": "no-order",
        "made": "no-order",
        "changed": "no-photo-after",
    }
    assert all("probability" not in m for m in part["no_figure"])
    assert len(part["would_decide"]) >= 3
    height = document(found)["openings"][0]["directions"][1]
    assert height["steps"] == []
    assert height["none"] is None


def test_without_a_rule_ordering_has_no_figure(traced):
    codes = {m["step"]: m["code"] for m in width(traced(opening(rule="")))["no_figure"]}
    assert codes == {"ordered": "no-rule"}


def test_photos_that_see_nothing_much_give_no_figure_on_a_change(traced):
    codes = {m["step"]: m["code"] for m in width(traced(opening(), u_mm=40.0))["no_figure"]}
    assert codes["changed"] == "too-weak"


def test_a_visit_after_the_order_is_a_witness_and_not_what_was_ordered_from(traced):
    visit = '[[opening.visit]]\nby = "crew 5"\nwidth = { middle = "54 3/8" }\n'
    part = width(traced(opening(middle="55 3/8", ordered="56 3/8", delivered="56 3/8", visit=visit)))
    assert part["order_from_visit"] == 0
    assert part["by_rule_mm"] == part["ordered_mm"] == 1431.925
    assert [r["tape_mm"] for r in part["other_readings"]] == [1381.125]
    assert part["steps"][0]["steps"] == ["reading"]
    assert part["steps"][0]["station"] == "width_middle"


def test_two_readings_of_one_box_cannot_say_which_is_off(traced):
    visit = '[[opening.visit]]\nwidth = { top = "55 3/8", middle = "55 3/8", bottom = "55 3/8" }\n'
    part = width(traced(opening(photos="", rule="", ordered="", delivered="", visit=visit)))
    assert part["steps"][0]["steps"] == ["readings", "readings:witness-1"]
    assert part["steps"][0]["probability"] > 0.9


def test_the_size_of_the_last_decision_that_released_it_is_the_ordered_one(traced, tmp_path):
    facts = {"by": "desk", "opening": "W1", "reason": "r", "inputs_sha256": "ab" * 32}
    when = datetime(2026, 5, 4, tzinfo=UTC)
    append_decision(tmp_path, Decision(when, decision="send", width_mm=1431.925, **facts))
    append_decision(tmp_path, Decision(when, decision="hold", width_mm=1406.525, **facts))
    part = width(traced(opening(ordered="", delivered="56 3/8")))
    assert (part["ordered_mm"], part["ordered_from"]) == (1431.925, "decisions.jsonl, line 1")
    assert part["steps"][0]["steps"] == ["ordered"]


def test_the_range_holds_the_probability_and_widens_where_the_evidence_is_thin(traced):
    thin = width(traced(opening(middle="54 5/8", ordered="55 5/8", delivered="55 5/8"), u_mm=3.0))
    step = next(s for s in thin["steps"] if s["steps"] == ["reading"])
    low, high = step["range"]
    assert low < step["probability"] < high
    assert high - low > 0.05


def test_the_record_names_every_input_by_its_hash_and_no_person(traced, tmp_path):
    (tmp_path / "sheet.pdf").write_bytes(b"paper")
    papers = 'documents = [{ file = "sheet.pdf", kind = "field-sheet" }]'
    found = traced(opening(rule=f'rule = "plain"\n{papers}', middle="55 3/8"))
    one = document(found)
    kinds = {i["kind"]: i["sha256"] for i in one["inputs"]}
    assert set(kinds) == {"job", "photo-before", "photo-after", "field-sheet", "rule"}
    assert all(len(sha) == 64 for sha in kinds.values())
    text = json.dumps(one) + dispute_text(one)
    assert "crew" not in text
    assert str(tmp_path) not in text
    assert "sheet.pdf" in str(one["openings"][0]["directions"][0]["would_decide"])
    assert one["settings"]["guesses"] is True


def test_the_same_inputs_in_another_folder_give_the_same_record(tmp_path):
    records = []
    for name in ("one", "two"):
        folder = tmp_path / name
        folder.mkdir()
        (folder / "a.jpg").write_bytes(b"x" * 2000)
        (folder / "job.toml").write_text(HEAD + opening(photos='photos = ["a.jpg"]', rule=""))
        records.append(document(trace_job(folder)))  # the photo is none, and that is said with its name alone
    assert records[0] == records[1]
    assert "a.jpg" in records[0]["openings"][0]["photos_silent"][0]


def test_another_reading_gives_another_record(traced):
    one = document(traced(opening(middle="55 3/8")))
    assert document(traced(opening(middle="55 3/8"))) == one
    assert document(traced(opening(middle="55 1/4")))["record"] != one["record"]


def test_a_photo_that_does_not_measure_is_said_and_counts_for_nothing(tmp_path):
    (tmp_path / "a.jpg").write_bytes(b"x" * 2000)
    (tmp_path / "job.toml").write_text(HEAD + opening(photos='photos = ["a.jpg"]', rule=""))

    def blind(request, progress):
        return NotMeasured("no-reference", f"{request.photos[0].path}: no sheet was found; add one")

    one = document(trace_job(tmp_path, estimator=blind))
    assert "a.jpg: no sheet was found" in one["openings"][0]["photos_silent"][0]
    assert one["openings"][0]["directions"][0]["photo_before"] is None


def test_a_label_that_is_not_there_is_refused_as_a_library_too(tmp_path):
    (tmp_path / "job.toml").write_text(HEAD + opening(photos="", rule=""))
    with pytest.raises(InputError, match="W9"):
        trace_job(tmp_path, ["W9"])


def test_one_photo_listed_as_before_and_after_shows_no_change(traced, tmp_path):
    found = traced(opening(photos='photos = ["a.jpg", { file = "a.jpg", when = "after" }]'))
    assert {m["step"]: m["code"] for m in width(found)["no_figure"]} == {"changed": "no-photo-after"}
    assert "same file" in document(found)["openings"][0]["photos_silent"][0]


def diagonals(found):
    """Return the part of a record on the diagonals; the photos see both as 2056.6 mm (80 31/32 in)."""
    (part,) = [p for p in document(found)["openings"][0]["directions"] if p["direction"] == "diagonal"]
    return part


def test_a_diagonal_an_inch_off_is_one_box_measured_or_written_down_wrongly(traced):
    found = traced(opening() + 'diagonal = { down = "82", up = "81" }\n')
    part = diagonals(found)
    assert part["steps"][0]["steps"] == ["reading"]
    assert part["steps"][0]["probability"] > 0.95
    assert part["steps"][0]["station"] == "diagonal_down"
    assert part["steps"][0]["error_mm"] == pytest.approx(82 * 25.4 - 2056.6, abs=2.0)
    text = dispute_text(document(found))
    assert "diagonals: one box was measured or written down wrongly (diagonal, top left to bottom right)" in text
    assert "diagonal, bottom left to top right: the tape said 81 in, the photo from before about 80 15/16 in" in text


def test_sound_diagonals_show_no_step_and_ask_for_no_order(traced):
    part = diagonals(traced(opening(delivered="") + 'diagonal = { down = "81", up = "80 15/16" }\n'))
    assert part["none"]["probability"] > 0.95
    # No size is ordered or made by a diagonal.
    assert not {"ordered", "made"} & {step for f in part["steps"] for step in f["steps"]}
    assert part["no_figure"] == []


def test_an_opening_out_of_true_has_no_slip_in_diagonals_that_the_photo_sees_alike(traced):
    # 2 in between them, far more than is usual: tape and photo say the same of both.
    lengths = np.array([*VALUES[:6], 2081.2, 2030.4, 50.8])
    found = traced(opening() + 'diagonal = { down = "81 15/16", up = "79 15/16" }\n', lengths=lengths)
    assert diagonals(found)["none"]["probability"] > 0.9


def test_an_opening_without_diagonals_read_says_nothing_of_them(traced):
    assert [p["direction"] for p in document(traced(opening()))["openings"][0]["directions"]] == ["width", "height"]
