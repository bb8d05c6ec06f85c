"""What is typed behind options, read. Oracle: contract.md, *Commands* and *Job file*: both take the same."""

import numpy as np
import pytest

from sizing.commands.arguments import (
    EstimateOptions,
    opening_request,
    parse_check_bar,
    parse_corners,
    parse_edge_offset,
    parse_opening,
    parse_reference,
)
from sizing.errors import InputError
from tests.bare_opening import HEAD, opening
from tests.jobfiles import job_folder, load_from


def test_a_check_bar_has_the_uncertainty_of_its_last_digit():
    # JCGM 100:2008, 4.3.7: a rectangular distribution of width d has sd d / sqrt(12).
    bar = parse_check_bar("across=149.53mm,along=199.4mm")
    assert (bar.across.value_mm, bar.along.value_mm) == (149.53, 199.4)
    np.testing.assert_allclose([bar.across.u_mm, bar.along.u_mm], [0.002887, 0.028868], rtol=1e-3)
    assert parse_check_bar("149.5 mm").along is None


def test_an_edge_offset_is_for_all_sides_or_for_those_named():
    assert {q.value_mm for q in parse_edge_offset("3/4").values()} == {19.05}
    by_side = parse_edge_offset("head=0,sill=40mm,left=-2mm,right=0")
    assert {side: q.value_mm for side, q in by_side.items()} == {
        "head": 0,
        "sill": 40,
        "left": -2,
        "right": 0,
    }
    assert {q.u_mm for q in by_side.values()} == {1.0}


@pytest.mark.parametrize("text", ["40", "roof=1mm", "head=1mm,head=2mm", "head", "", "9 m"])
def test_an_edge_offset_that_is_not_sure_is_refused(text):
    with pytest.raises(ValueError, match=r".+"):
        parse_edge_offset(text)


def test_a_reference_is_a_kind_or_a_size():
    assert parse_reference("A4").kind == "a4"
    given = parse_reference("180.0x240.0mm")
    assert (given.kind, given.width_mm, given.height_mm) == ("given", 180.0, 240.0)
    assert parse_reference("4 3/4 x 3 1/8 in").width_mm == pytest.approx(120.65)
    for text in ("card", "120x80", "1x1mm", "1x2x3mm"):
        with pytest.raises(ValueError, match=r".+"):
            parse_reference(text)


def test_corners_run_clockwise_from_the_top_left():
    np.testing.assert_array_equal(parse_corners("1,2 9,2.5 9,8 1,8"), [[1, 2], [9, 2.5], [9, 8], [1, 8]])
    for text in ("nan,0 9,0 9,9 0,9", "", "1,2 3,4", "1,2 9,2.5 9,8 1"):
        with pytest.raises(ValueError, match="top left first, clockwise"):
            parse_corners(text)
    for text in ("1,2 1,8 9,8 9,2", "0,0 9,9 9,0 0,9", "0,0 8,0 16,0 0,8"):
        with pytest.raises(ValueError, match="corner"):
            parse_corners(text)


@pytest.mark.parametrize("first", [1, 2, 3])
def test_corners_of_an_opening_that_begin_elsewhere_than_top_left_are_refused_as_in_a_job_file(first):
    """Found: begun at another corner, width and height came out exchanged, without a word."""
    corners = [(296, 112), (739, 115), (728, 680), (290, 670)]
    text = " ".join(f"{x},{y}" for x, y in corners[first:] + corners[:first])
    with pytest.raises(ValueError, match="the first corner is not the top left"):
        parse_opening(text)
    assert parse_corners(text).shape == (4, 2)  # a page may lie on its side


def test_a_corner_out_of_view_is_written_as_a_dash():
    assert parse_opening("10,20 - -  12, 300")[[0, 3]].tolist() == [[10, 20], [12, 300]]
    assert np.isnan(parse_opening("10,20 - - 12,300")[[1, 2]]).all()
    with pytest.raises(ValueError, match="is not four corners"):
        parse_corners("10,20 - - 12,300")


@pytest.mark.parametrize("text", ["- - - -", "10,20 - -", "12,300 - - 10,20", "nan,nan 1,2 - -", "10,x - - 1,2"])
def test_corners_of_a_part_that_cannot_be_are_refused(text):
    with pytest.raises(ValueError, match="corner"):
        parse_opening(text)


ALIKE = [
    *(("edge_offset", size, f'edge_offset = "{size}"') for size in ("299 mm", "-300mm", "301 mm", "-0.9 m", "12 in")),
    *(("check_bar", size, f'check_bar = "{size}"') for size in ("113mm", "112 mm", "187 mm", "188 mm", "150 mm")),
    *(
        ("reference", f"{w} x {h}", f'reference = {{ width = "{w}", height = "{h}" }}')
        for w, h in (("5 mm", "9 mm"), ("4.9 mm", "90 mm"), ("10 m", "1 m"), ("10.1 m", "1 m"), ("20 mm", "9 mm"))
    ),
    *(
        ("focal35", size, f'photos = [{{ file = "w1-a.jpg", focal35 = {size} }}]')
        for size in (4.9, 5.0, 1500.0, 2000.0, 2001.0)
    ),
]


@pytest.mark.parametrize(("key", "typed", "written"), ALIKE)
def test_estimate_and_job_files_take_the_same_lengths(tmp_path, key, typed, written):
    """Found: four limits differed between the two."""
    folder = job_folder(tmp_path)

    def refused(call):
        try:
            call()
        except InputError:
            return True
        return False

    by_option = refused(lambda: opening_request(EstimateOptions((folder / "w1-a.jpg",), **{key: typed})))
    assert by_option == refused(lambda: load_from(folder, HEAD + opening(more=written)))
