"""Photos whose only reference is contradicted by the lines of its wall, beside others of the same opening."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from tests.views import camera_at, photo_of
from vision.depths import EdgeDepths
from vision.estimate import estimate_opening
from vision.joint.measures import measure_joint
from vision.joint.solve import join
from vision.measures import measure
from vision.request import PARTS, SIDES, OpeningRequest, PhotoRequest, Quantity, Reference

PLACES = (camera_at(-900, -200, 2300), camera_at(1000, 150, 2500))
PAGE, LETTER = ("page 1", -850.0, 30.0, 0.01), Reference("letter")
NO_DEPTH = dict.fromkeys(SIDES, 0.0)
DISTANCE = 5  # number of the camera's unknown


def torn(photo, times=4.0):
    """Return a photo whose lines would take the camera `times` its standard uncertainty further off."""
    alone = photo.solved.adjusted
    by = times * alone.covariance[DISTANCE] / np.sqrt(alone.covariance[DISTANCE, DISTANCE])
    apart = np.outer(by, by)
    parts = {**alone.parts, "reference_size": alone.parts["reference_size"] + apart}
    wide = replace(alone, covariance=alone.covariance + apart, parts=parts)
    return replace(photo, solved=replace(photo.solved, adjusted=wide, torn=by))


def of_width(measured):
    return measured.budget_mm[1, PARTS.index("reference_size")]


@pytest.mark.parametrize("count", [2, 3])
def test_a_torn_photo_seen_again_is_as_torn(count):
    """Bound: the photo alone, of which the others are copies: with the same fault."""
    one = torn(photo_of(PLACES[0], [PAGE], np.random.default_rng(1), reference=LETTER))
    alone = measure(one.solved.adjusted.state.camera, one.solved.adjusted.parts, one.sides, np.ones((4, 4)))
    joint = measure_joint(join([one] * count, EdgeDepths(NO_DEPTH, np.ones((4, 4)))), [one] * count)
    assert of_width(joint) > 0.95 * of_width(alone)


@pytest.mark.parametrize("first", [True, False])
def test_a_torn_photo_is_not_joined_with_a_sound_one_and_that_is_said(first):
    """Bound: the sound photo alone."""
    rng = np.random.default_rng(2)
    bad = torn(photo_of(PLACES[0], [PAGE], rng, reference=LETTER, name=Path("torn.jpg")))
    good = photo_of(PLACES[1], [PAGE], rng, reference=LETTER, name=Path("sound.jpg"))
    named = {p.report.path.name: p for p in ((bad, good) if first else (good, bad))}
    asked = OpeningRequest((), "panel", edge_offset=dict.fromkeys(SIDES, Quantity(0.0, 1.0)))

    def estimated(names):
        photos = tuple(PhotoRequest(Path(n)) for n in names)
        return estimate_opening(replace(asked, photos=photos), tracer=lambda _, p: named[p.path.name])

    both, alone = estimated(named), estimated(["sound.jpg"])
    assert both.values_mm == pytest.approx(alone.values_mm, abs=1e-9)
    assert both.cov_mm2 == pytest.approx(alone.cov_mm2, abs=1e-9)
    assert [w.code for w in both.warnings] == ["lines-disagree"]
    assert "torn.jpg is left out" in both.warnings[0].message
