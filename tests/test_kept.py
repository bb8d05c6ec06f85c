"""Answers from kept photos are those of a fresh start (the oracle is `estimate_opening` itself, asked anew)."""

import os
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

import vision.kept
from vision.estimate import estimate_opening
from vision.kept import KeptPhotos
from vision.request import OpeningRequest, PhotoRequest

DEMO = Path(__file__).parent.parent / "fixtures" / "demo"
CORNERS = np.array([[505, 326], [1542, 318], [1563, 1221], [519, 1253]]) * 0.6


@pytest.fixture
def asked(tmp_path):
    with Image.open(DEMO / "w2.jpg") as image:
        image.resize((1229, 922)).save(tmp_path / "w2.jpg", quality=92, exif=image.info["exif"])
    return OpeningRequest((PhotoRequest(tmp_path / "w2.jpg", corners_px=CORNERS),))


def moved(asked, by):
    return replace(asked, photos=(replace(asked.photos[0], corners_px=CORNERS + np.array(by)),))


def same(a, b):
    return np.array_equal(a.values_mm, b.values_mm) and np.array_equal(a.cov_mm2, b.cov_mm2)


def test_a_moved_corner_is_traced_anew_with_the_answer_of_a_fresh_start(asked, monkeypatch):
    kept = KeptPhotos()
    first = kept.estimate(asked)
    monkeypatch.setattr(vision.kept, "prepare", None)
    monkeypatch.setattr(vision.kept, "solve_photo", None)
    again = kept.estimate(moved(asked, [3, 2]))
    assert same(again, estimate_opening(moved(asked, [3, 2])))
    monkeypatch.setattr(vision.kept, "estimate_opening", None)
    assert kept.estimate(asked) is first


def test_another_file_of_the_same_name_is_read_again(asked):
    kept = KeptPhotos()
    path = asked.photos[0].path
    path.write_bytes(b"no photo" * 500)
    assert kept.estimate(asked).code == "photo-format"
    path.write_bytes(b"\xff\xd8" + b"no" * 5000)
    os.utime(path, ns=(1, 1))
    assert kept.estimate(asked).code != "photo-format"


def test_corners_outside_the_photo_are_refused_also_when_it_is_kept(asked):
    kept = KeptPhotos()
    asked = replace(asked, photos=(replace(asked.photos[0], trace=False),))
    assert not hasattr(kept.estimate(asked), "why")
    assert kept.estimate(moved(asked, [5000, 0])).code == "corners-outside"
