"""What readings alone say of their opening, against quadrilaterals drawn and measured by plane geometry."""

import numpy as np
import pytest

from sizing.explaining import without_photo
from sizing.explaining.without_photo import vague_measures
from vision.request import NINE

W, H = 900.0, 1200.0
READ = {"width_middle": W, "height_middle": H}


def nine_of(corners):
    """Return the nine measures (9,) of a quadrilateral with straight sides: corners (4, 2), top left first, clockwise.

    Widths are across and heights along at top, middle and bottom, as a tape is held (contract, *Words*).
    """
    tl, tr, br, bl = corners
    ends = [tr[0] - tl[0], br[0] - bl[0], bl[1] - tl[1], br[1] - tr[1]]
    down, up = np.hypot(*(br - tl)), np.hypot(*(tr - bl))
    across, along = (ends[0] + ends[1]) / 2, (ends[2] + ends[3]) / 2
    return [ends[0], across, ends[1], ends[2], along, ends[3], down, up, down - up]


def test_of_three_widths_the_middle_one_stands_where_one_slipped():
    values, _ = vague_measures({"width_top": W + 300, "width_middle": W, "width_bottom": W - 2, "height_left": H})
    assert values[:3].tolist() == [W] * 3


def test_diagonals_are_those_of_the_rectangle():
    # 3, 4, 5: Pythagoras.
    values, _ = vague_measures(READ)
    assert values.tolist() == [W, W, W, H, H, H, 1500.0, 1500.0, 0.0]


@pytest.mark.parametrize("lacking", READ)
def test_without_a_width_or_a_height_nothing_is_known(lacking):
    assert vague_measures({name: mm for name, mm in READ.items() if name != lacking}) is None
    assert vague_measures(READ | {lacking: 1e6}) is None  # a slip beyond any opening is no size either


def test_half_a_metre_is_how_little_is_known_of_a_size():
    _, cov = vague_measures(READ)
    # The docstring's half a metre, and the shape's few mm beside it.
    assert np.sqrt(cov[1, 1]) == pytest.approx(500, abs=0.1)
    assert np.sqrt(cov[4, 4]) == pytest.approx(500, abs=0.1)


def test_sizes_taper_and_lean_move_the_nine_as_they_move_a_quadrilateral(monkeypatch):
    """Oracle: 200 000 quadrilaterals; sizes only a little unknown, as what is linear near a rectangle is asked for."""
    monkeypatch.setattr(without_photo, "_SIZE_U_MM", 12.0)
    monkeypatch.setattr(without_photo, "_BOW_U_MM", 0.0)
    _, cov = vague_measures(READ)
    rng = np.random.default_rng(3)
    # design.md, The cross-check: guesses of taper and lean.
    w, h = W + rng.normal(0, 12, 200_000), H + rng.normal(0, 12, 200_000)
    wider, taller, lean = (rng.normal(0, u, w.size) for u in (6, 6, 10))
    left, right, top, bottom = -w / 2, w / 2, -h / 2, h / 2
    tl = np.array([left - wider / 2 + lean / 2, top - taller / 2])
    tr = np.array([right + wider / 2 + lean / 2, top + taller / 2])
    br = np.array([right - wider / 2 - lean / 2, bottom - taller / 2])
    bl = np.array([left + wider / 2 - lean / 2, bottom + taller / 2])
    drawn = np.cov(nine_of(np.array([tl, tr, br, bl])))
    scale = np.sqrt(np.outer(np.diag(drawn), np.diag(drawn)))
    # Sampling: 1 / sqrt(200 000) = 0.2 %, four of them; what is not linear is 0.1 %.
    np.testing.assert_allclose(cov / scale, drawn / scale, rtol=0, atol=0.01)


def test_a_side_that_bows_moves_its_middle_most_and_no_other_measure():
    _, cov = vague_measures(READ)
    straight = {n: (i, o) for n, i, o in (("width", 0, 2), ("height", 3, 5))}
    for first, last in straight.values():
        # What the middle has beyond the mean of both ends is bow alone: 3 mm, and 1.5 mm at either end (guesses).
        a = np.zeros(len(NINE))
        a[[first, first + 1, last]] = -0.5, 1.0, -0.5
        assert a @ cov @ a == pytest.approx(3.0**2 + 2 * (0.5 * 1.5) ** 2)
