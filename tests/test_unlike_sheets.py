"""Sheets not printed alike: seen, named and held by U95. Oracles: exact truth; least squares with one more unknown."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import norm, uniform

from tests.drawn_walls import blocks_of, camera, state
from tests.test_sheets_disagree import BARS, CUT_MM, measured
from vision.adjustment import adjust
from vision.observations import EdgeBlock, PriorBlock
from vision.solving.solved import Solved
from vision.solving.unlike_sheets import (
    SheetScales,
    is_size,
    less_sure_scale,
    sheet_scales,
    taken_apart,
    with_lines_as_printed,
    with_own_scales,
)

FOCAL = 6  # of the unknowns: logarithm of the focal length
PLACES = np.array([[0.0, 0.0], [1350.0, 40.0], [700.0, 900.0]])


def seen(seed, larger):
    """Return blocks of sheets of which each was printed larger than is known (relative), and their adjustment."""
    cam = camera()
    known, outlines = blocks_of(cam, np.random.default_rng(seed), PLACES[: len(larger)], u_px=0.03)
    blocks = with_own_scales(known, 1 / (1 + np.array(larger)))
    return blocks, adjust(blocks, state(cam, references=len(larger))), outlines


def solved(blocks, adjusted, outlines):
    names = tuple(f"sheet {n}" for n in "ABC"[: len(outlines)])
    return Solved(adjusted, names, tuple(outlines), (), 0.1, tuple(blocks))


def test_sheets_one_percent_apart_are_named_with_their_difference(tmp_path):
    said, worst = measured(tmp_path, 0.99, CUT_MM, BARS)
    told = re.match(r"sheet B is ([\d.]+) % larger \(U95 ([\d.]+) %\) than sheet A", said["references-disagree"])
    assert float(told[1]) == pytest.approx(1.0, abs=float(told[2]))
    assert not {"cropped", "wide-lens", "digital-zoom", "lines-disagree"} & set(said)
    assert worst < 2


def test_scales_of_sheets_are_those_of_an_adjustment_with_them_as_unknowns():
    """Least squares: the sum of squares is least at the scales found, and half of it rises by 1/2 at one u."""
    blocks, adjusted, _ = seen(3, (0.002, -0.001))
    found = sheet_scales(blocks, adjusted.state)

    def cost(apart):
        factors = 1 + np.array([apart, -apart]) / 2
        quadratic = [b if isinstance(b, PriorBlock) else _plain(b) for b in with_own_scales(blocks, factors)]
        return adjust(quadratic, adjusted.state, near=True).cost

    apart = float(found.relative[0] - found.relative[1])
    least = cost(apart)
    assert cost(apart + found.u_apart) - least == pytest.approx(1, abs=0.1)
    assert cost(apart - found.u_apart) - least == pytest.approx(1, abs=0.1)


@pytest.mark.parametrize("larger", [0.0, 0.003, 0.006, 0.008, 0.02])
def test_how_probably_sheets_are_unlike_is_bayes_rule_over_how_far_they_lie_apart(larger):
    """Oracle: the prior as it is stated (2 in 100 differ, evenly from -8 to 8 %), integrated by scipy."""
    blocks, adjusted, _ = seen(2, (larger, 0.0))
    found = sheet_scales(blocks, adjusted.state)

    def seen_if(true):
        return norm.pdf(found.apart, true, found.u_apart)

    near = (found.apart - 8 * found.u_apart, found.apart + 8 * found.u_apart)
    unlike = 0.02 * quad(lambda d: uniform.pdf(d, -0.08, 0.16) * seen_if(d), *near)[0]
    assert found.p_unlike == pytest.approx(unlike / (unlike + 0.98 * seen_if(0.0)), rel=1e-6)


def test_the_common_scale_is_as_unsure_as_that_sheets_may_be_unlike_makes_it():
    """Variance of a mixture: of p, half of how far they lie apart to either side; of the rest, nothing."""
    scales = SheetScales(np.array([-0.001, 0.001]), 0.002, 0.0008, 0.01, 0.3)
    assert scales.u_common**2 == pytest.approx(0.3 * 0.001**2 + 0.7 * 0)
    assert not scales.unlike
    surely = replace(scales, chance=1e-6)
    assert surely.unlike
    assert surely.u_common == pytest.approx(0.001)


def test_sheets_that_may_be_unlike_make_sizes_as_unsure_with_the_walls_lines_as_their_scales_say():
    """Law of propagation (JCGM 100): the doubt adds to what is known of the print scale; lines add nothing here."""
    alone = solved(*seen(2, (0.006, 0.0)))
    scales = sheet_scales(alone.blocks, alone.adjusted.state)
    assert 0.1 < scales.p_unlike < 0.9
    lined = with_lines_as_printed(alone, lambda sheets: sheets)
    (before,), (after,) = ([b for b in s.blocks if is_size(b)] for s in (alone, lined))
    doubt = scales.p_unlike * (scales.apart / 2) ** 2
    assert after.u**2 - before.u**2 == pytest.approx([doubt, doubt])
    one = solved(*seen(2, (0.01,)))
    assert with_lines_as_printed(one, lambda sheets: sheets) is one  # a single sheet is like itself


def _plain(block):
    return EdgeBlock(
        block.reference,
        block.plane_mm,
        block.half_mm,
        block.pixel,
        block.normal,
        block.u_px,
        block.polarity,
        robust=False,
    )


def test_of_three_sheets_the_odd_one_is_told_and_the_others_are_alike():
    blocks, adjusted, outlines = seen(5, (0.0, 0.0, 0.02))

    def solve(scales):
        of = with_own_scales(blocks, 1 + np.array(scales))
        return Solved(**{**_fields(solved(of, adjust(of, adjusted.state, near=True), outlines)), "scales": scales})

    found = taken_apart(solved(blocks, adjusted, outlines), solve)
    assert np.diff(found.scales) == pytest.approx([0, 0.02], abs=0.006)
    assert found.warnings[0].code == "references-disagree"
    assert "sheet C is" in found.warnings[0].message


@pytest.mark.parametrize(
    ("turn", "larger"), [((0.0, -0.05, 0.0), -0.03), ((0.03, 0.04, 0.0), 0.03), ((-0.05, 0.02, 0.02), 0.03)]
)
def test_scales_settle_where_nothing_is_known_of_the_lens_that_they_bend(turn, larger):
    """Seen nearly head-on, sheets of one scale look as by a lens of a sixth of the focal length. Oracle: the scene."""
    cam = camera(turn)
    known, outlines = blocks_of(cam, np.random.default_rng(1), PLACES[:2], u_px=0.06)
    blocks = with_own_scales([_any_lens(b) for b in known], 1 / (1 + np.array([larger, 0.0])))

    def solve(scales):
        of = with_own_scales(blocks, 1 + np.array(scales)) if scales else blocks
        alone = solved(of, adjust(of, state(cam, references=2)), outlines)
        return Solved(**{**_fields(alone), "scales": scales})

    found = taken_apart(solve(()), solve)
    assert float(np.subtract(*found.scales)) == pytest.approx(larger, abs=0.004)


def _any_lens(block):
    """Return what is known of a camera without its focal length."""
    if not isinstance(block, PriorBlock) or FOCAL not in block.index:
        return block
    return replace(block, u=np.where(block.index == FOCAL, 0.5, block.u))


def _fields(of):
    return {name: getattr(of, name) for name in Solved.__slots__}


def test_sheets_printed_alike_and_a_single_sheet_stay_as_they_are():
    for larger in ((0.0, 0.0), (0.01,)):
        alone = solved(*seen(2, larger))
        assert taken_apart(alone, None) is alone


def test_a_common_scale_less_sure_widens_sizes_by_that_share():
    """Law of propagation (JCGM 100): u^2 of the scale is the sum of both."""
    alone = solved(*seen(2, (0.0, 0.0)))
    wide = less_sure_scale(alone, 0.005)
    before, after = (np.diag(s.adjusted.covariance)[11:13] for s in (alone, wide))
    assert np.sqrt(after - before) == pytest.approx([0.005, 0.005], rel=0.1)
    assert less_sure_scale(alone, 1e-6) is alone
