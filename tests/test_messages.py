"""Facts about the words. What they must say: contract.md; the rest is common practice, no source."""

import json
import re
from importlib.resources import files

import pytest

from sizing.explaining.slips import load_priors
from sizing.messages import check_warnings
from sizing.messages import verdicts as messages
from sizing.messages.names import name_of
from sizing.messages.one_line import one_line, sentence
from sizing.messages.photo_figures import about, at_least, picture_label
from sizing.messages.slips import likewise, slip_says
from sizing.messages.verdicts import would_have_stopped
from vision.request import NINE


def test_verdicts_are_in_the_words_of_an_office():
    assert messages.VERDICTS == {
        "send": "may be ordered",
        "hold": "stop: ask",
        "unproven": "the photo cannot tell",
    }


def test_no_code_of_a_measure_reaches_people():
    assert not [name for name in NINE if "_" in name_of(name)]
    assert name_of("diagonal_up") == "diagonal, bottom left to top right"


def test_the_uncertainty_is_rounded_up_to_a_sixteenth():
    # 1.6 mm is 1.008 sixteenths of an inch.
    assert about(1381.125, 1.6, "in") == "about 54 3/8 in, give or take 1/8 in"
    assert about(1381.125, 1.55, "in") == "about 54 3/8 in, give or take 1/16 in"


def test_a_figure_in_millimetres_has_no_more_digits_than_its_uncertainty():
    assert about(1381.13, 4.8, "mm") == "about 1381 mm, give or take 5 mm"


def test_a_file_name_is_never_spelled_otherwise():
    assert sentence("w1.jpg: no sheet") == "w1.jpg: no sheet."


def test_a_figure_of_the_photo_is_always_about():
    for unit in ("in", "mm"):
        assert about(1381.1, 2.0, unit).startswith("about ")
        assert "give or take" in about(1381.1, 2.0, unit)
    assert "photo about" in picture_label("width_top", "54 3/8 in", 1381.0, 2.0, "in")


@pytest.mark.parametrize(("slip_mm", "said"), [(9.5, "3/8 in"), (9.6, "1/2 in"), (12.7, "1/2 in"), (25.5, "1 1/8 in")])
def test_a_smallest_slip_is_never_said_smaller_than_it_is(slip_mm, said):
    assert at_least(slip_mm, "in") == said


def test_the_smallest_slip_is_a_sentence():
    # Words asked for by the office; common practice, no source.
    assert would_have_stopped(9.5, "in") == "An error of 3/8 in or more would have stopped this order."


def test_every_slip_that_is_weighed_has_words():
    codes = {slip.code for slip in load_priors().slips}
    codes |= {"digits-swapped", "stations-swapped", "width-height-swapped", "wrong-unit", "none-of-these"}
    codes |= {"six-nine", "feet-and-inches", "inches-split", "wrong-side", "seen-from-inside", "copied", "another-line"}
    codes |= {"another-opening", "one-ratio", "one-shift"}
    plain = {slip_says("x-y", 1.0, 1.0, {}, "in")}
    for code in codes:
        said = slip_says(code, 25.4, 1381.1, {"with": "width_top", "meant": "45"}, "in")
        assert said not in plain
        assert code.replace("-", " ") != said


def test_a_copied_number_names_no_box_as_its_source():
    # Where all boxes are off each would be copied from another: common practice, no source.
    boxes = [slip_says("copied", None, None, {"from": name}, "in") for name in ("width_top", "width_bottom")]
    assert boxes[0] == boxes[1] != slip_says("x-y", None, None, {}, "in")


def test_an_inch_too_long_and_too_short_have_their_own_causes():
    # facts.md section 7: burned inch not taken off is +1 in, taken off twice -1 in.
    long, short = (slip_says("burned-inch", mm, 1381.1, {}, "in") for mm in (25.4, -25.4))
    assert "too long" in long
    assert "too short" in short
    assert "1 in mark" in long


def test_a_size_that_would_fit_is_rounded_as_the_photo_it_comes_from():
    # 33 5/32 in = 842.2 mm; the photo's 33 3/16 in = 842.96 mm. A photo is never good to 1/32 in.
    trim = slip_says("another-line", -13.3, 842.2, {"lines": "frame"}, "in")
    assert trim.endswith("33 3/16 in would fit")
    assert likewise(-13.3, 842.2, "in") == "Likewise; 33 3/16 in would fit."
    assert about(842.96, 2.4, "in").startswith("about 33 3/16 in")
    assert likewise(-13.3, 842.2, "mm") == "Likewise; 842 mm would fit."
    # 386.7 mm taken for inches in a job in inches: 15 7/32 in; 982 mm is 38 21/32 in, as near to 38 11/16 in.
    assert slip_says("wrong-unit", -600.1, 981.9, {}, "in").endswith("38 11/16 in would be an opening's size")


def test_a_reading_to_1_32_in_that_is_whole_marks_off_keeps_its_marks():
    # 34 5/32 less 1 in.
    assert slip_says("burned-inch", 25.4, 33.15625 * 25.4, {}, "in").endswith("33 5/32 in would fit")
    assert likewise(25.4, 33.15625 * 25.4, "in") == "Likewise; 33 5/32 in would fit."


def test_text_from_outside_cannot_steer_the_terminal():
    assert one_line("W1\x1b[2J\r\nok\u202e") == "W1?[2J ok?"


def test_no_warning_is_without_its_remedy():
    for text in (
        check_warnings.no_photo(),
        check_warnings.no_usable_photo(),
        check_warnings.shape_refused("arched"),
        check_warnings.readings_missing(["width_top"]),
        check_warnings.weak_geometry(["width_top"]),
        check_warnings.same_photo("a.jpg", []),
    ):
        assert len(re.findall(r"[a-z][.:;?]", text)) >= 2, text


def test_a_vague_photo_of_two_sheets_is_not_told_to_show_two_sheets():
    assert "Two sheets, left and right" in check_warnings.weak_geometry(["width_top"], 1)
    assert "Two sheets" not in check_warnings.weak_geometry(["width_top"], 2)
    assert "nearer and squarer" in check_warnings.weak_geometry(["width_top"], 2)


def test_words_are_plain_ascii_where_terminals_may_be_old():
    words = (files("sizing") / "messages").iterdir()
    text = "".join(p.read_text(encoding="utf-8") for p in words if p.name.endswith(".py"))
    odd = {c for c in text if ord(c) > 127}
    assert odd <= {"±"}, odd  # only in pictures, whose font has it
    assert json.dumps(messages.CAUTION).isascii()


@pytest.mark.parametrize("template", sorted(t.name for t in (files("sizing") / "desk" / "templates").iterdir()))
def test_the_pages_take_the_words_of_verdicts_from_where_all_others_do(template):
    """Common practice, no source: a word in two places is changed in one."""
    text = (files("sizing") / "desk" / "templates" / template).read_text(encoding="utf-8")
    said = {*messages.VERDICTS.values(), *messages.LISTED_VERDICTS.values(), messages.NOT_CHECKED}
    assert not [words for words in said if f'"{words}"' in text]
