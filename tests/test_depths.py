"""What is assumed of the edges' depth: contract, Job file, 'What is not given is not zero'."""

import numpy as np
import pytest

from vision.depths import edge_depths, once_given, with_sill_out
from vision.request import SIDES, OpeningRequest, Quantity


@pytest.mark.parametrize(
    ("wall", "z", "u"), [("masonry", 0, 2), ("render", 0, 2), ("siding", -15, 10), ("panel", -15, 10)]
)
def test_a_depth_that_nobody_gave_is_assumed_by_the_contract_and_said(wall, z, u):
    depths = edge_depths(OpeningRequest((), wall))
    assert set(depths.z_mm.values()) == {z}
    assert depths.cov_mm2 == pytest.approx(np.full((4, 4), u**2))
    assert depths.assumed == SIDES
    assert [w.code for w in depths.warnings] == ["edge-depth-assumed"]


def test_nothing_is_said_of_a_depth_that_was_given():
    given = dict.fromkeys(SIDES, Quantity(19.0, 1.0))
    depths = edge_depths(OpeningRequest((), "siding", edge_offset=given))
    assert set(depths.z_mm.values()) == {-19.0}
    assert (depths.assumed, depths.warnings) == ((), ())
    assert depths.cov_mm2 == pytest.approx(np.ones((4, 4)))


def test_sides_given_apart_are_unsure_apart():
    given = dict.fromkeys(SIDES, Quantity(0.0, 1.0)) | {"sill": Quantity(38.0, 1.0)}
    depths = edge_depths(OpeningRequest((), "masonry", edge_offset=given))
    assert depths.cov_mm2 == pytest.approx(np.eye(4))


@pytest.mark.parametrize(("wall", "z", "u"), [("masonry", 0, 2), ("siding", -15, 10)])
def test_sides_that_nobody_gave_are_assumed_with_one_error_beside_those_given(wall, z, u):
    """Oracle: contract, the assumption is one; a length that is given errs by itself."""
    depths = edge_depths(OpeningRequest((), wall, edge_offset={"sill": Quantity(45.0, 1.0)}))
    assert depths.z_mm == {"head": z, "right": z, "sill": -45, "left": z}
    trials = np.random.default_rng(1).normal(size=(2, 200_000))
    guess, own = u * trials[0], trials[1]
    drawn = np.cov([{"sill": own}.get(s, guess) for s in SIDES])
    assert depths.cov_mm2 == pytest.approx(drawn, rel=0.02, abs=0.05 * u)
    assert depths.assumed == ("head", "right", "left")


@pytest.mark.parametrize(
    ("wall", "given", "says"),
    [
        ("siding", ["sill"], "the head, the right jamb and the left jamb stand out was not given: 15 mm +- 10 mm"),
        ("masonry", ["head", "left", "right"], "the sill stands out was not given: the wall's face, +- 2 mm"),
        ("panel", ["head", "sill"], "the right jamb and the left jamb stand out was not given"),
    ],
)
def test_what_is_assumed_of_some_sides_is_said_with_their_names(wall, given, says):
    (said,) = edge_depths(OpeningRequest((), wall, edge_offset=dict.fromkeys(given, Quantity(9.0, 1.0)))).warnings
    assert said.code == "edge-depth-assumed"
    assert says in said.message


def test_once_the_rest_is_given_nothing_is_assumed_and_what_was_given_stays():
    asked = OpeningRequest((), "siding", edge_offset={"sill": Quantity(45.0, 2.0)})
    known = once_given(asked)
    assert (known.assumed, known.z_mm) == ((), edge_depths(asked).z_mm)
    assert known.cov_mm2 == pytest.approx(np.diag([1.0, 1, 4, 1]))
    assert once_given(OpeningRequest((), "siding")).cov_mm2 == pytest.approx(np.ones((4, 4)))


def test_a_sill_that_is_seen_to_stand_out_lies_there_as_surely_as_it_is_seen():
    """Oracle: what is seen is measured from the plane assumed, so both errors add (JCGM 100, 5.1.2)."""
    asked = OpeningRequest((), "masonry", sill_out=Quantity(30.0, 6.0))
    depths = edge_depths(asked)
    assert depths.z_mm == {"head": 0, "right": 0, "sill": -30, "left": 0}
    guess, own = np.random.default_rng(2).normal(size=(2, 200_000)) * [[2.0], [6.0]]
    drawn = np.cov([guess + (own if s == "sill" else 0) for s in SIDES])
    assert depths.cov_mm2 == pytest.approx(drawn, rel=0.02, abs=0.1)
    assert depths.assumed == SIDES
    (said,) = depths.warnings
    assert said.code == "edge-depth-assumed"
    assert "the photo shows 30 mm +- 12 mm" in said.message
    assert "the other edges in the wall's face" in said.message
    known = once_given(asked)
    assert (known.z_mm["sill"], known.assumed) == (-30.0, ())
    assert known.cov_mm2 == pytest.approx(np.eye(4))


def test_what_photos_show_of_a_sill_counts_only_where_nothing_was_given_of_it():
    given = OpeningRequest((), edge_offset={"sill": Quantity(20.0, 1.0)}, sill_out=Quantity(30.0, 6.0))
    assert edge_depths(given).z_mm["sill"] == -20.0
    rest = OpeningRequest((), edge_offset=dict.fromkeys(("head", "left", "right"), Quantity(0.0, 1.0)))
    (said,) = edge_depths(with_sill_out(rest, [Quantity(30.0, 6.0)])).warnings
    assert "the other edges" not in said.message


def test_of_several_photos_the_one_that_shows_a_sill_best_counts():
    asked = OpeningRequest(())
    assert with_sill_out(asked, [Quantity(30.0, 9.0), None, Quantity(35.0, 6.0)]).sill_out == Quantity(35.0, 6.0)
    assert with_sill_out(asked, [None]).sill_out is None
