"""Lines that contradict what lies on the wall: the references' answer stands, and says how far apart both are."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.drawn_walls import blocks_of, camera, drawn, state, with_lines
from vision.adjustment import adjust
from vision.camera import back_project
from vision.measures import CAMERA_STEPS
from vision.observations import PER_REFERENCE, PhotoState, PriorBlock
from vision.uncertainty import carried, jacobian

FAR_MM = np.array([[600.0, 100.0], [1700.0, 100.0]])


def as_page(blocks):
    """The same observations as those of a plain page whose size somebody gave."""
    return [
        replace(b, part="reference_size") if isinstance(b, PriorBlock) and b.part == "print_scale" else b
        for b in blocks
    ]


def width(cam, px):
    """A width far beside the reference, mm: what lies at these pixels."""
    a, b = back_project(cam, px, 0.0)
    return np.array([np.hypot(*(b - a))])


@pytest.mark.parametrize("page", [True, False])
def test_one_plain_page_says_how_far_lines_that_contradict_it_would_move_it(page):
    """The page lies four degrees off the wall, as one of which a side was mistaken seems to: nothing in it shows that.

    Sheets check themselves: their answer stays as it is.
    """
    rng, cam, wall = np.random.default_rng(12), camera(), camera((0.06, -0.19, 0.01))
    blocks, outlines = blocks_of(cam, rng, np.zeros((1, 2)))
    blocks = as_page(blocks) if page else blocks
    alone = adjust(blocks, state(cam))
    result, warned = with_lines(drawn(wall, rng), blocks, alone, outlines, None, "masonry")
    assert [w.code for w in warned] == ["lines-disagree"]
    if not page:
        assert result.covariance == pytest.approx(alone.covariance)
        return
    seen = result.state.camera
    px = np.array([[900.0, 500.0], [1500.0, 500.0]])
    j = jacobian(lambda d: width(seen.moved(d), px), np.zeros(11), CAMERA_STEPS)
    u = float(np.sqrt(carried(j, result.covariance[:11, :11])[0, 0]))
    before = float(np.sqrt(carried(j, alone.covariance[:11, :11])[0, 0]))
    apart = float(abs(width(wall, px) - width(seen, px))[0])
    assert apart > 3 * before  # the oracle: both cameras are known
    assert u > 0.7 * apart
    assert sum(result.parts.values()) == pytest.approx(result.covariance)


def test_the_increment_between_two_states_leads_from_one_to_the_other():
    """A law: the inverse of `moved`, by its definition."""
    rng = np.random.default_rng(3)
    a = PhotoState(camera(), np.zeros(2), rng.normal(size=(2, PER_REFERENCE)), np.array([0.01, 0.002]))
    d = rng.normal(size=a.unknowns) * 0.05
    assert a.increment_to(a.moved(d)) == pytest.approx(d, abs=1e-12)
