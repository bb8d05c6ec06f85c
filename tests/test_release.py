"""Facts about what is handed over. Oracle: contract.md, *Decision*, and the words of `release`; real files."""

import csv
import io
import json
from datetime import UTC, datetime

import numpy as np
import pypdfium2
import pytest

from sizing.check import check_job
from sizing.commands.release import sent_by_name
from sizing.decided import Decision
from sizing.messages.release import released_by
from sizing.outcome import JobResult
from sizing.release.decisions import FILE, append_decision
from sizing.release.pdf import release_pdf
from sizing.release.release import plan_release, undecided, with_earlier
from sizing.release.written import COLUMNS, release_csv, release_document
from vision.request import PARTS, Estimate, PhotoReport

# An opening of 54 3/8 by 60 1/8 in, square; as measured by a photo.
VALUES = np.array([1381.125] * 3 + [1527.175] * 3 + [2058.98] * 2 + [0.0])
HEAD = '[job]\nid = "harbor-114"\nunits = "in"\ntape = "class-2"\n'
ORDERED = 'ordered = { width = "55 3/8", height = "62 1/8" }\n'


def opening(label="W1", middle="54 3/8", more=ORDERED, photos='["w1.jpg"]'):
    return f"""
[[opening]]
label = "{label}"
wall = "masonry"
photos = {photos}
{more}
width = {{ top = "54 3/8", middle = "{middle}", bottom = "54 3/8" }}
height = {{ left = "60 1/8", middle = "60 1/8", right = "60 1/8" }}
"""


def measured(request, progress):
    report = PhotoReport(request.photos[0].path, "ab" * 32, (4032, 3024))
    return Estimate(
        VALUES, np.eye(9) * 0.81, np.zeros((9, len(PARTS))), np.zeros(9), {}, (), (), (report,), (), "corners"
    )


@pytest.fixture
def checked(tmp_path):
    (tmp_path / "w1.jpg").write_bytes(b"x" * 2000)

    def check(*openings):
        if openings:
            (tmp_path / "job.toml").write_text(HEAD + "".join(openings), encoding="utf-8")
        return check_job(tmp_path, estimator=measured)

    return check


def decide(result, choice, label="W1", **more):
    found = next(o for o in result.openings if o.opening.label == label)
    risk = "may be an inch too wide" if choice == "override" else ""
    facts = {"by": "desk", "reason": "seen on site", "risk_accepted": risk, "inputs_sha256": found.inputs_sha256}
    when = datetime(2026, 5, 4, 12, tzinfo=UTC)
    append_decision(result.job.folder, Decision(when, opening=label, decision=choice, **(facts | more)))


def codes(release):
    return {rest.opening: rest.code for rest in release.rest}


def test_what_a_person_sends_with_the_check_is_released_and_the_rest_is_listed_with_its_reason(checked):
    result = checked(opening(), opening("W2", middle="55 3/8"), opening("W3", photos="[]"))
    decide(result, "send")
    release = plan_release(checked())
    assert [line.opening for line in release.lines] == ["W1"]
    assert release.lines[0].width_mm == 1406.525  # 55 3/8 in, exactly
    assert release.lines[0].height_mm == 1577.975
    assert (release.lines[0].released_by, release.lines[0].decided_by) == ("decision", "desk")
    assert codes(release) == {"W2": "verdict-hold", "W3": "verdict-unproven"}
    assert all("override" in rest.says for rest in release.rest)
    assert not release.complete


def test_what_the_check_supports_is_released_by_nobody_until_a_person_decides(checked):
    """Contract, *Decision*: a release says by whom it was decided and when; a stale decision counts for nothing."""
    result = checked(opening())
    release = plan_release(result)
    assert codes(release) == {"W1": "undecided"}
    assert not release.complete
    decide(result, "send", inputs_sha256="ab" * 32)
    release = plan_release(checked())
    assert codes(release) == {"W1": "undecided"}
    assert "stale" in release.rest[0].says
    decide(result, "send")
    assert plan_release(checked()).complete


def test_a_release_by_name_decides_only_what_lacks_nothing_else(checked):
    result = checked(opening(), opening("W2"), opening("W3", middle="55 3/8"), opening("W4", more=""), opening("W5"))
    decide(result, "hold", label="W2")
    decide(result, "send", label="W5")
    result = checked()
    assert [o.opening.label for o in undecided(result)] == ["W1"]
    assert undecided(result, ["W2", "W3"]) == ()


def test_who_releases_by_name_stands_in_the_decisions_and_in_the_release(checked):
    line = plan_release(sent_by_name(checked(opening()), None, "A. Desk", "as checked")).lines[0]
    assert (line.released_by, line.decided_by, line.reason) == ("decision", "A. Desk", "as checked")
    kept = json.loads((checked().job.folder / FILE).read_text())
    assert (kept["by"], kept["decision"], kept["verdict"]) == ("A. Desk", "send", "send")
    assert kept["ordered"] == {"width_mm": 1406.525, "height_mm": 1577.975}
    assert plan_release(checked()).complete


def test_a_person_may_stop_what_the_check_sends(checked):
    decide(checked(opening()), "hold", reason="customer rang")
    release = plan_release(checked())
    assert codes(release) == {"W1": "held"}
    assert "customer rang" in release.rest[0].says


def test_an_override_releases_what_the_check_stops_with_name_reason_and_risk(checked):
    decide(checked(opening(middle="55 3/8")), "override")
    line = plan_release(checked()).lines[0]
    assert (line.verdict, line.released_by, line.decided_by) == ("hold", "override", "desk")
    assert (line.decided_at, line.reason) == ("2026-05-04T12:00:00Z", "seen on site")
    assert line.risk_accepted == "may be an inch too wide"


def test_a_decision_to_send_against_the_check_releases_nothing(checked):
    decide(checked(opening(middle="55 3/8")), "send")
    assert codes(plan_release(checked())) == {"W1": "send-against-check"}


def test_a_decision_to_send_with_the_check_is_released_with_its_author(checked):
    decide(checked(opening()), "send")
    line = plan_release(checked()).lines[0]
    assert (line.released_by, line.decided_by) == ("decision", "desk")


def test_an_override_of_other_inputs_counts_for_nothing(checked):
    decide(checked(opening(middle="55 3/8")), "override")
    release = plan_release(checked(opening(middle="55 1/4")))
    assert codes(release) == {"W1": "verdict-hold"}
    assert "stale" in release.rest[0].says


def test_a_stale_decision_to_stop_stops_nothing(checked):
    decide(checked(opening()), "hold", inputs_sha256="ab" * 32)
    decide(checked(), "send")
    assert plan_release(checked()).complete


def test_the_ordered_size_changed_after_the_decision_is_not_released(checked):
    decide(checked(opening(middle="55 3/8")), "override", width_mm=1400.0)
    assert codes(plan_release(checked())) == {"W1": "other-size"}


def test_a_later_line_that_nobody_can_read_holds_the_release_until_decided_again(checked):
    result = checked(opening())
    decide(result, "send")
    with (result.job.folder / FILE).open("a") as file:
        file.write('{"decision": "hold"\n')
    assert codes(plan_release(checked())) == {"W1": "decision-unreadable"}
    decide(result, "send")
    assert plan_release(checked()).complete


def test_without_an_ordered_size_nothing_is_released_even_by_override(checked):
    result = checked(opening(more=""), opening("W2", more='ordered = { width = "55" }'))
    decide(result, "override")
    assert codes(plan_release(checked())) == {"W1": "no-size", "W2": "no-size"}


def test_a_missing_size_does_not_hide_that_the_check_stops_the_opening(checked):
    stopped, sound = plan_release(checked(opening(more="", middle="55 3/8"), opening("W2", more=""))).rest
    assert stopped.code == sound.code == "no-size"
    assert "Nor does the check support it: " in stopped.says
    assert "width, middle" in stopped.says
    assert "Nor" not in sound.says


def test_only_openings_asked_for_are_released_and_judged(checked):
    decide(checked(opening(), opening("W2"), opening("W3", middle="55 3/8")), "send", label="W2")
    release = plan_release(checked(), ["W2"])
    assert [line.opening for line in release.lines] == ["W2"]
    assert codes(release) == {"W1": "not-asked", "W3": "not-asked"}
    assert release.complete


def test_the_csv_holds_what_the_works_need_and_no_formula(checked):
    nasty = "=HYPERLINK(1)"
    result = checked(opening(nasty, middle="55 3/8", more=ORDERED + "quantity = 2\n"))
    decide(result, "override", label=nasty, reason="+1;=2\n@3", by="-dash")
    release = plan_release(checked())
    rows = list(csv.reader(io.StringIO(release_csv(release))))
    assert tuple(rows[0]) == COLUMNS
    row = dict(zip(*rows, strict=True))
    assert (row["width"], row["height"], row["quantity"]) == ("55 3/8 in", "62 1/8 in", "2")
    assert (row["width_mm"], row["height_mm"]) == ("1406.525", "1577.975")
    assert row["inputs_sha256"] == release.lines[0].inputs_sha256
    # OWASP, CSV injection: no cell begins with = + - @, also not behind another separator.
    for delimiter in ",;\t":
        for cell in csv.reader(io.StringIO(release_csv(release)), delimiter=delimiter):
            assert not any(c.strip('" ').startswith(("=", "+", "-", "@")) for c in cell)


def test_the_same_content_has_the_same_number_and_other_content_another(checked):
    decide(checked(opening()), "send")
    one = plan_release(checked())
    assert plan_release(checked()).number == one.number
    decide(checked(opening(more=ORDERED + "quantity = 2\n")), "send")
    two = plan_release(checked())
    assert two.complete
    assert two.number != one.number
    assert (len(one.number), one.lines[0].rule) == (12, "")


def pdf_text(data):
    return " ".join(page.get_textpage().get_text_range() for page in pypdfium2.PdfDocument(data))


@pytest.mark.parametrize("paper", ["letter", "a4"])
def test_the_pages_say_every_opening_released_or_not(checked, paper):
    many = [opening(f"N{i}", middle="54 3/8" if i % 3 else "55 3/8") for i in range(1, 25)]
    result = checked(*many)
    for i in range(1, 25):
        decide(result, "send", label=f"N{i}")
    release = plan_release(checked())
    document = release_document(release, "2026-05-04T12:30:00+00:00", "secondtape 0.1.0")
    text = " ".join(pdf_text(release_pdf(document, paper)).split())
    assert all(f"N{i} " in text for i in range(1, 25))
    assert "Released: 16 openings" in text
    assert "NOT released, do not make: 8 openings" in text
    assert all(line.inputs_sha256 in text for line in release.lines)
    assert "55 3/8 in" in text
    assert "1406.525 mm" in text
    assert "local codes" in text
    assert release_pdf(document, paper) == release_pdf(document, paper)


def test_several_earlier_releases_are_several(checked):
    decide(checked(opening()), "send")
    (line,) = release_document(plan_release(checked()), "2026-05-04T12:30:00+00:00", "secondtape")["released"]
    assert "Also in" not in released_by(line)
    assert "Also in release aa: make it once." in released_by(line | {"also_in": ["aa"]})
    assert "Also in releases aa, bb: make it once." in released_by(line | {"also_in": ["aa", "bb"]})


RULE = """[rule]
id = "wide"
title = "invented"
units = "in"
confirm = ["room-above", "escape-opening"]
[width]
reading = "largest"
add = "1/2"
step = "1/8"
choose = "nearest"
[height]
reading = "largest"
step = "1/8"
choose = "nearest"
[panels]
widest = "30"
"""


@pytest.fixture
def ruled(tmp_path):
    (tmp_path / "rules").mkdir()
    (tmp_path / "rules" / "wide.toml").write_text(RULE)


def test_the_size_by_the_rule_is_released_with_its_panels_and_what_to_confirm(checked, ruled):
    # 54 3/8 and 1 in make 55 3/8, two panels of 27 11/16; nothing is added to 60 1/8.
    decide(checked(opening(more='rule = "wide"\n')), "send")
    release = plan_release(checked())
    line = release.lines[0]
    assert (line.width_mm, line.height_mm) == (1406.525, 1527.175)
    assert line.panels_mm == (703.2625, 703.2625)
    assert len(line.rule_sha256) == 64
    document = release_document(release, "2026-05-04T12:30:00+00:00", "secondtape 0.1.0")
    assert document["released"][0]["panels"] == ["27 11/16 in", "27 11/16 in"]
    assert "way out" in pdf_text(release_pdf(document))


def test_an_order_that_is_not_the_rules_is_held_and_an_override_says_why(checked, ruled):
    result = checked(opening(more='rule = "wide"\nordered = { width = "56 3/8", height = "60 1/8" }\n'))
    assert codes(plan_release(result)) == {"W1": "verdict-hold"}
    decide(result, "override")
    line = plan_release(checked()).lines[0]
    assert line.width_mm == 1431.925
    assert line.panels_mm == ()  # the rule splits its own width, not this one
    assert "55 3/8" in line.why
    assert "The order has a problem" not in line.why  # each problem is said itself


def test_why_an_opening_is_held_names_the_reading_and_every_problem_of_the_order(checked, ruled):
    result = checked(opening(middle="55 3/8", more='rule = "wide"\nordered = { width = "58", height = "60 1/8" }\n'))
    (held,) = plan_release(result).rest
    assert "The photo does not support the tape here: width, middle" in held.says
    assert "The width ordered is 58 in" in held.says


def test_a_width_in_one_panel_has_no_widths_of_panels(checked, ruled, tmp_path):
    (tmp_path / "rules" / "wide.toml").write_text(RULE.replace('widest = "30"', 'widest = "60"'))
    decide(checked(opening(more='rule = "wide"\n')), "send")
    assert plan_release(checked()).lines[0].panels_mm == ()


def test_the_works_are_to_be_told_of_what_is_held_back_and_not_of_what_nobody_asked_for(checked):
    result = checked(opening(), opening("W2", middle="55 3/8"))
    before = plan_release(result, ["W2"])
    after = with_earlier(before, {"aa": ["W1", "W2"]})
    says = {rest.opening: rest.says for rest in before.rest}
    assert {rest.opening: rest.also_in for rest in after.rest} == {"W1": ("aa",), "W2": ("aa",)}
    assert {rest.opening: rest.says == says[rest.opening] for rest in after.rest} == {"W1": True, "W2": False}


def test_a_job_that_cannot_be_read_releases_nothing():
    with pytest.raises(ValueError, match="cannot be read"):
        plan_release(JobResult("harbor-114", "job.toml", "unproven"))


def test_another_rule_file_makes_a_decision_stale(checked, ruled, tmp_path):
    decide(checked(opening(more='rule = "wide"\n', middle="55 3/8")), "override")
    assert plan_release(checked()).complete
    (tmp_path / "rules" / "wide.toml").write_text(RULE.replace('"1/2"', '"3/4"'))
    assert codes(plan_release(checked())) == {"W1": "verdict-hold"}


def test_no_word_however_long_leaves_the_page(checked):
    decide(checked(opening(middle="55 3/8")), "override", reason="W" * 1990, risk_accepted="long " * 390)
    release = plan_release(checked())
    pdf = pypdfium2.PdfDocument(release_pdf(release_document(release, "2026-05-04T12:30:00+00:00", "secondtape 0.1.0")))
    for page in pdf:
        text = page.get_textpage()
        boxes = [text.get_rect(i) for i in range(text.count_rects())]
        assert max(box[2] for box in boxes) < page.get_width() - 28  # 10 mm
        assert min(box[1] for box in boxes) > 28
