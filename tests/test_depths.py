"""What is assumed of the edges' depth: contract, Job file, 'What is not given is not zero'."""

import pytest

from vision.depths import edge_depths
from vision.request import SIDES, OpeningRequest, Quantity


@pytest.mark.parametrize(
    ("wall", "z", "u"), [("masonry", 0, 2), ("render", 0, 2), ("siding", -15, 10), ("panel", -15, 10)]
)
def test_a_depth_that_nobody_gave_is_assumed_by_the_contract_and_said(wall, z, u):
    depths = edge_depths(OpeningRequest((), wall))
    assert set(depths.z_mm.values()) == {z}
    assert depths.u_common_mm == u
    assert [w.code for w in depths.warnings] == ["edge-depth-assumed"]


def test_nothing_is_said_of_a_depth_that_was_given():
    given = dict.fromkeys(SIDES, Quantity(19.0, 1.0))
    depths = edge_depths(OpeningRequest((), "siding", edge_offset=given))
    assert set(depths.z_mm.values()) == {-19.0}
    assert depths.warnings == ()


def test_sides_given_apart_are_unsure_apart():
    given = dict.fromkeys(SIDES, Quantity(0.0, 1.0)) | {"sill": Quantity(38.0, 1.0)}
    depths = edge_depths(OpeningRequest((), "masonry", edge_offset=given))
    assert depths.u_common_mm == 0
    assert set(depths.u_each_mm.values()) == {1.0}
