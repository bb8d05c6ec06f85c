"""Facts about the cross-check in the result of a job. Oracle: contract.md, *Result* and *Decision*."""

import hashlib
from types import SimpleNamespace

import numpy as np
import pytest

from sizing.check import check_job
from sizing.crosscheck.adjustment import predict_readings_mm
from sizing.json_values import as_text
from sizing.result.document import job_document
from sizing.terminal import job_text
from vision.request import PARTS, Estimate, NotMeasured, PhotoReport

# A job by hand: openings of these sizes (mm), read without error unless said.
SIZES = {"W1": (1000.0, 1400.0), "W2": (1040.0, 1400.0), "W3": (1300.0, 1700.0)}


def lengths(size):
    width, height = size
    return predict_readings_mm(np.array([width, width, height, height, 0.0]))


@pytest.fixture
def check(tmp_path):
    """Check a job of three openings; `photo_of` says whose photo each label has, `read` changes readings in mm.

    Photos of one number in `shots` are one picture; `beside` says by how many px an opening lies elsewhere in it.
    """

    def run(photo_of=None, read=None, ratio=1.0, shots=None, beside=None):
        whose = {label: label for label in SIZES} | (photo_of or {})
        text = '[job]\nid = "harbor-114"\nunits = "mm"\ntape = "class-2"\n'
        for label, size in SIZES.items():
            (tmp_path / f"{label}.jpg").write_bytes(label.encode() * 1000)
            say = [f"{v + (read or {}).get(label, {}).get(i, 0.0):.2f}" for i, v in enumerate(lengths(size))]
            text += (
                f'[[opening]]\nlabel = "{label}"\nwall = "masonry"\nphotos = ["{label}.jpg"]\n'
                f"width = {{ top = {say[0]}, middle = {say[1]}, bottom = {say[2]} }}\n"
                f"height = {{ left = {say[3]}, middle = {say[4]}, right = {say[5]} }}\n"
                f"diagonal = {{ down = {say[6]}, up = {say[7]} }}\n"
            )
        (tmp_path / "job.toml").write_text(text, encoding="utf-8")

        def estimator(request, progress):
            path = request.photos[0].path
            if whose[path.stem] is None:
                return NotMeasured("no-reference", "no sheet")
            seen = np.append(lengths(SIZES[whose[path.stem]]) * ratio, 0.0)
            t = np.vstack([np.eye(8), np.eye(8)[6] - np.eye(8)[7]])
            cov = t @ (np.eye(8) + 0.001**2 * np.outer(seen[:8], seen[:8])) @ t.T
            budget = np.zeros((9, len(PARTS)))
            budget[:8, PARTS.index("print_scale")] = 0.0014 * seen[:8]
            shot = (shots or {}).get(path.stem, sum(path.stem.encode()))
            at = np.array([[10.0, 10.0], [90.0, 10.0], [90.0, 90.0], [10.0, 90.0]]) + 20.0 * (shot % 97)
            digest = hashlib.sha256(path.read_bytes()).hexdigest()
            own = at + (beside or {}).get(path.stem, 0.0)
            report = PhotoReport(path, digest, (4032, 3024), corners_px=own, references_px=(("A", at + 5.0),))
            return Estimate(seen, cov, budget, np.zeros(9), {}, (), (), (report,), (), "photo")

        result = check_job(tmp_path, estimator=estimator)
        document = job_document(result)
        return SimpleNamespace(
            document=document,
            text=job_text(result),
            opening={o["label"]: o for o in document["openings"]},
            codes={o["label"]: [w["code"] for w in o["warnings"]] for o in document["openings"]},
        )

    return run


def test_a_sound_job_is_sent_without_a_word_of_the_cross_check(check):
    found = check()
    assert found.document["verdict"] == "send"
    assert all("joint-test" not in codes and "another-opening" not in codes for codes in found.codes.values())
    assert [t["test"] for t in found.document["job_tests"]] == ["print_scale", "tape_zero", "tape_scale"]
    assert not any(t["found"] for t in found.document["job_tests"])
    assert "Suspect" not in found.text


def test_every_reading_has_its_test_and_every_opening_its_joint_test(check):
    opening = check().opening["W1"]
    assert opening["joint_test"]["dof"] == 11
    assert opening["joint_test"]["p"] > 0.9
    for reading in opening["readings"]:
        assert {"w", "mdb_mm", "redundancy", "group"} <= set(reading)
        assert 0.0 < reading["redundancy"] <= 1.0
        assert 4.0 < reading["mdb_mm"] < 20.0
    as_text(check().document)


def test_an_opening_without_measures_is_held_by_the_joint_test_and_names_the_pair(check):
    found = check(photo_of={"W1": None}, read={"W1": {0: 25.4}}).opening["W1"]
    assert (found["verdict"], found["why_code"]) == ("hold", "readings-inconsistent")
    assert found["joint_test"]["with_photo"] is False
    assert [r["name"] for r in found["readings"] if r["holds"]] == ["width_top", "width_bottom"]
    assert found["readings"][0]["group"] == ["width_top", "width_bottom"]


def test_a_sound_opening_without_measures_is_not_held(check):
    assert check(photo_of={"W1": None}).opening["W1"]["verdict"] == "unproven"


def test_exchanged_photos_warn_on_both_openings(check):
    found = check(photo_of={"W1": "W2", "W2": "W1"})
    assert {label for label, codes in found.codes.items() if "another-opening" in codes} == {"W1", "W2"}
    assert "photo of W2" in found.text
    assert found.document["verdict"] == "hold"


def test_a_print_at_another_scale_is_said_once_for_the_job(check):
    found = check(ratio=0.98)
    (test,) = [t for t in found.document["job_tests"] if t["found"]]
    assert test["test"] == "print_scale"
    assert test["value_ratio"] == pytest.approx(1 / 0.98 - 1, abs=0.001)
    assert found.text.count("Suspect the print") == 1
    # It explains and corrects nothing: the readings are judged by the photo as it stands.
    assert found.opening["W1"]["readings"][1]["photo_mm"] == pytest.approx(980.0)


def test_one_picture_saved_under_two_names_is_the_same_photo(check):
    found = check(shots={"W1": 3, "W2": 3})
    assert {label for label, codes in found.codes.items() if "same-photo" in codes} == {"W1", "W2"}
    assert not any("same-photo" in codes for codes in check().codes.values())
    found = check(shots={"W1": 3, "W2": 3, "W3": 3})
    assert [codes.count("same-photo") for codes in found.codes.values()] == [1, 1, 1]
    assert "W1.jpg shows the same place as a photo of W2, W3:" in found.text


def test_two_openings_beside_each_other_in_one_picture_share_no_place(check):
    found = check(shots={"W1": 3, "W2": 3}, beside={"W2": 2000.0})
    assert not any("same-photo" in codes for codes in found.codes.values())


def test_openings_with_exchanged_photos_say_nothing_of_the_print_or_the_tape(check):
    """Their widths are off by 4 % and -4 %; the one opening that is left has nothing in common with another."""
    assert check().document["job_tests"] != []
    assert check(photo_of={"W1": "W2", "W2": "W1"}).document["job_tests"] == []


def test_a_slip_of_the_whole_form_is_said_once_and_every_size_that_would_fit(check):
    found = check(read={"W1": dict.fromkeys(range(8), 25.4)})
    text = found.text[: found.text.index("  W2 ")]
    assert text.count("the inch was not taken off") == 1
    assert text.count("Likewise; ") == 7
    assert text.count("would fit") == 8


def test_where_two_openings_rest_on_one_place_the_photo_is_looked_at_before_anybody_measures_again(check):
    """A look at a photo is cheaper than a way to the house: common practice, no source."""
    found = check(shots={"W1": 3, "W2": 3}, read={"W1": {1: 25.4}})
    step = found.opening["W1"]["next_step"]
    assert step.startswith("Do not order. Look first whether this photo is of this opening: it shows the same place as")
    assert step.index("a photo of W2") < step.index("If not: measure again: width, middle")
    assert found.opening["W2"]["next_step"] == ""
    assert check(read={"W1": {1: 25.4}}).opening["W1"]["next_step"].startswith("Do not order. Measure again:")


def test_where_photos_are_exchanged_the_photos_are_looked_at_before_anybody_measures_again(check):
    """As above: common practice, no source."""
    for label, other in (("W1", "W2"), ("W2", "W1")):
        step = check(photo_of={"W1": "W2", "W2": "W1"}).opening[label]["next_step"]
        assert step.startswith(
            "Do not order. Look first whether the photo or the readings of this opening were put down"
        )
        assert step.index(f"the readings fit the photo of {other}.") < step.index("If not: measure again: ")
