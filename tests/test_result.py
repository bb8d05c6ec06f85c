"""Facts about the result document. Oracle: contract.md, *Result*; the measured opening is made by hand."""

import json
from dataclasses import replace
from functools import partial

import numpy as np
import pytest

from sizing.check import check_job, estimate_photos, exit_of
from sizing.exits import Exit
from sizing.json_values import as_text
from sizing.result.document import check_document, estimate_document, job_document
from sizing.terminal import complaints, job_text
from tests.one_opening import HEAD, job_in, measured, only_opening, opening
from vision.errors import RequestError
from vision.request import (
    NINE,
    Candidate,
    NotMeasured,
    PhotoReport,
    Remedy,
    Warning_,
)


@pytest.fixture
def job(tmp_path):
    return partial(job_in, tmp_path)


def test_an_opening_has_the_keys_of_the_contract(job):
    o = only_opening(check_job(job(opening()), estimator=measured()))
    assert {"label", "verdict", "why", "found_by", "photos", "measures", "covariance_mm2", "readings"} <= set(o)
    assert {"faces", "warnings", "decision"} <= set(o)
    assert o["decision"] is None
    assert "order" not in o
    assert set(NINE) <= set(o["measures"])
    assert {"file", "sha256", "size_px", "corners_px", "warnings"} <= set(o["photos"][0])
    assert o["photos"][0]["file"] == "w1.jpg"
    keys = "name tape_mm photo_mm difference_mm U95_mm e_n p_within smallest_slip_mm verdict holds likely"
    assert set(keys.split()) <= set(o["readings"][0])


def test_the_expanded_uncertainty_is_twice_the_standard_one(job):
    # JCGM 100:2008, 6.2.1, k = 2.
    o = only_opening(check_job(job(opening()), estimator=measured(0.9)))
    assert o["measures"]["width_top"] == {
        "value_mm": 1381.125,
        "u_mm": 0.9,
        "U95_mm": 1.8,
        "budget_mm": {"camera": 0.9},
    }
    assert np.array(o["covariance_mm2"]).shape == (9, 9)


def test_sound_readings_may_be_ordered(job):
    result = check_job(job(opening()), estimator=measured())
    assert result.verdict == "send"
    assert exit_of([result]) == Exit.DONE
    assert "may be ordered" in job_text(result)
    # tolerance + 3.29 u = 6.35 + 2.96 = 9.31 mm, facts.md section 3; rounded up to eighths.
    assert "An error of 3/8 in or more would have stopped this order." in job_text(result)


def test_the_request_to_the_crew_names_job_and_day(job):
    head = HEAD.replace("[job]", "[job]\nmeasured_on = 2026-05-04")
    said = only_opening(check_job(job(opening(middle="55 3/8"), head=head), estimator=measured()))["request"]
    assert said.startswith("Job ")
    assert "measured on 2026-05-04" in said.splitlines()[0]


def test_a_reading_an_inch_too_long_holds_the_order(job):
    result = check_job(job(opening(middle="55 3/8")), estimator=measured())
    middle = next(r for r in only_opening(result)["readings"] if r["name"] == "width_middle")
    assert (middle["verdict"], middle["holds"]) == ("differs", True)
    assert middle["likely"][0]["slip"] == "burned-inch"
    assert middle["likely"][0]["corrected_mm"] == pytest.approx(1381.125, abs=1e-3)
    assert exit_of([result]) == Exit.HOLD
    text = job_text(result)
    assert "stop: ask" in text
    assert "width, middle: the tape says 55 3/8 in; the photo does not support it (it sees about 54 3/8 in" in text
    assert "Probably an inch too long: the tape was started at its 1 in mark" in text


def test_a_vague_photo_cannot_tell_and_its_infinite_slip_is_null(job):
    result = check_job(job(opening()), estimator=measured(200.0))
    o = only_opening(result)
    assert o["verdict"] == "unproven"
    assert o["readings"][0]["smallest_slip_mm"] is None
    assert "weak-geometry" in {w["code"] for w in o["warnings"]}
    assert exit_of([result]) == Exit.UNPROVEN
    assert "the photo cannot tell" in job_text(result)


def test_a_vague_photo_of_which_it_was_worked_out_what_helps_names_no_second_remedy(job):
    def estimator(request, progress):
        answer = measured(6.0)(request, progress)
        return replace(answer, remedies=(Remedy("measure-bars", "", answer.cov_mm2 / 100.0),))

    o = only_opening(check_job(job(opening()), estimator=estimator))
    assert "measure the two printed bars" in o["remedy"]["says"]
    (weak,) = [w["message"] for w in o["warnings"] if w["code"] == "weak-geometry"]
    assert weak.endswith("What would help is said with the verdict.")


def test_competing_edges_stand_beside_their_side(job):
    candidate = Candidate("sill", 0.4, 12.0, np.full(9, 12.0), "wall line")
    o = only_opening(check_job(job(opening()), estimator=measured(candidates=[candidate])))
    assert [c["weight"] for c in o["sides"]["sill"]["candidates"]] == [0.4]
    assert o["sides"]["head"]["candidates"] == []


def test_missing_readings_are_never_sent(job):
    bare = '[[opening]]\nlabel = "W1"\nwall = "masonry"\nphotos = ["w1.jpg"]\nwidth = { top = "54 3/8" }\n'
    result = check_job(job(bare), estimator=measured())
    o = only_opening(result)
    assert o["verdict"] == "unproven"
    assert "readings-missing" in {w["code"] for w in o["warnings"]}


def test_without_a_photo_nothing_is_sent(job):
    result = check_job(job(opening(photos="[]")))
    o = only_opening(result)
    assert o["verdict"] == "unproven"
    assert "measures" not in o
    assert "no photo" in o["why"]


def test_an_arched_opening_is_refused_as_not_measured(job):
    o = only_opening(check_job(job(opening(more='shape = "arched"\n')), estimator=measured()))
    assert o["verdict"] == "unproven"
    assert "measures" not in o
    assert "arched" in o["why"]


def test_a_photo_that_cannot_be_read_has_an_error_of_its_own(job):
    def estimator(request, progress):
        error = Warning_("photo-truncated", "w1.jpg: the file is cut off; copy it again")
        report = PhotoReport(request.photos[0].path, "", (0, 0), error=error)
        return NotMeasured(error.code, error.message, (report,))

    result = check_job(job(opening()), estimator=estimator)
    photo = only_opening(result)["photos"][0]
    assert photo["error"]["code"] == "photo-truncated"
    assert len(photo["sha256"]) == 64
    assert exit_of([result]) == Exit.UNREADABLE
    assert complaints(result) == [f"{result.file}: W1: w1.jpg: the file is cut off; copy it again"]


def test_a_photo_without_a_sheet_is_unproven_and_no_unreadable_photo(job):
    def estimator(request, progress):
        error = Warning_("no-reference", "no sheet was found; tape two sheets beside the opening")
        report = PhotoReport(request.photos[0].path, "ab" * 32, (4032, 3024), error=error)
        return NotMeasured(error.code, error.message, (report,))

    result = check_job(job(opening()), estimator=estimator)
    assert exit_of([result]) == Exit.UNPROVEN
    assert "tape two sheets" in only_opening(result)["why"]
    assert "tape two sheets" in job_text(result)


def test_a_request_that_makes_no_sense_stops_only_its_opening(job):
    def estimator(request, progress):
        if request.photos[0].corners_px is not None:
            raise RequestError("corners-outside", "corner 9,9 lies outside the photo; give others")
        return measured()(request, progress)

    corners = '[{ file = "w1.jpg", corners = [[0, 0], [900, 0], [900, 900], [0, 900]] }]'
    result = check_job(job(opening(), opening("W2", photos=corners)), estimator=estimator)
    assert [o["verdict"] for o in job_document(result)["openings"]] == ["send", "unproven"]


def test_a_mistake_of_the_program_stops_only_its_opening(job):
    calls = []

    def estimator(request, progress):
        calls.append(1)
        if len(calls) == 1:
            raise ZeroDivisionError
        return measured()(request, progress)

    result = check_job(job(opening(), opening("W2", photos='[{ file = "w1.jpg" }]')), estimator=estimator)
    assert [o.verdict.verdict for o in result.openings] == ["unproven", "send"]
    assert isinstance(result.openings[0].fault, ZeroDivisionError)
    assert len(complaints(result)) == 1


def test_one_photo_at_one_place_for_two_openings_is_said(job):
    result = check_job(job(opening(), opening("W2")), estimator=measured())
    codes = [{w["code"] for w in o["warnings"]} for o in job_document(result)["openings"]]
    assert all("same-photo" in one for one in codes)  # either may have the wrong photo


def test_a_rule_or_an_order_is_said_to_be_unchecked(job):
    result = check_job(job(opening(more='ordered = { width = "54", height = "60" }\n')), estimator=measured())
    assert "order-not-checked" in {w["code"] for w in only_opening(result)["warnings"]}


def test_a_job_that_cannot_be_read_has_an_error_in_place_of_openings(tmp_path):
    (tmp_path / "job.toml").write_text("[job\n", encoding="utf-8")
    document = job_document(check_job(tmp_path))
    assert set(document["error"]) >= {"code", "message"}
    assert "openings" not in document
    assert "job.toml" in document["error"]["message"]


def test_the_document_is_strict_json_whatever_the_job_keeps(job):
    kept = "[job.extra]\nvalue = nan\nwhen = 2026-05-04\nlist = [1.5, inf]\n"
    result = check_job(job(opening(), head=HEAD + kept), estimator=measured(float("inf")))
    text = as_text(check_document([job_document(result)]))
    assert text.isascii()
    assert json.loads(text, parse_constant=pytest.fail)["jobs"][0]["extra"] == {
        "value": None,
        "when": "2026-05-04",
        "list": [1.5, None],
    }


def test_the_same_inputs_give_the_same_document(job):
    folder = job(opening(middle="54 1/2"))
    one, two = (as_text(job_document(check_job(folder, estimator=measured()))) for _ in range(2))
    assert one == two


def test_an_estimate_has_one_opening_without_readings(tmp_path):
    from sizing.check import estimate_exit
    from sizing.commands.arguments import EstimateOptions, opening_request

    (tmp_path / "p.jpg").write_bytes(b"x" * 2000)
    request = opening_request(EstimateOptions((tmp_path / "p.jpg",)))
    result = estimate_photos(request, estimator=measured())
    document = estimate_document(result)
    assert list(document) == ["schema", "openings"]
    (o,) = document["openings"]
    assert set(NINE) <= set(o["measures"])
    assert not {"readings", "order"} & set(o)
    assert estimate_exit(result) == Exit.DONE
    nothing = estimate_photos(request, estimator=lambda r, p: NotMeasured("no-reference", "no sheet; add one"))
    assert estimate_exit(nothing) == Exit.UNPROVEN
    assert estimate_document(nothing)["openings"][0]["why"] == "no sheet; add one"
