"""What is assumed of the edges' depth: contract, Job file, 'What is not given is not zero'."""

import numpy as np
import pytest

from vision.depths import edge_depths, once_given
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
