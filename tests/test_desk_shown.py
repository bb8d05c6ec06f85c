"""What the page of an opening shows, apart from the page: tiles of a photo, intervals, corners on another line."""

import io
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from sizing.desk.corner_moves import on_line
from sizing.desk.interval_view import HALF, MIDDLE, Error, intervals
from sizing.desk.tiles import TILE_PX, Tiles
from sizing.desk.worker import Worker
from sizing.errors import InputError

DEMO = Path(__file__).parent.parent / "fixtures" / "demo"


def test_tiles_are_the_photo_at_every_scale_and_hold_no_exif(tmp_path):
    with Image.open(DEMO / "w2.jpg") as image:
        image.resize((2600, 1950)).save(tmp_path / "p.jpg", quality=95, exif=image.info["exif"])
    worker, tiles = Worker(memory_mb=4096), Tiles()
    try:
        found = tiles.pyramid(tmp_path / "p.jpg", 90, worker)
        assert (found.size_px, found.reduced, found.scales) == ((1950, 2600), 1, (2, 1))
        tile = Image.open(io.BytesIO(tiles.tile(tmp_path / "p.jpg", 90, worker, (1, 1, 2))))
        assert tile.size == (1950 - TILE_PX, 2600 - 2 * TILE_PX)
        assert not tile.getexif()
        with Image.open(tmp_path / "p.jpg") as whole:
            turned = whole.transpose(Image.Transpose.ROTATE_270).convert("L")
        cut = turned.crop((TILE_PX, 2 * TILE_PX, 1950, 2600))
        difference = np.asarray(cut, float) - np.asarray(tile.convert("L"), float)
        assert np.abs(difference).mean() < 3
        with pytest.raises(InputError, match="no such part"):
            tiles.tile(tmp_path / "p.jpg", 90, worker, (1, 9, 9))
        (tmp_path / "no.jpg").write_bytes(b"\xff\xd8" + b"no" * 3000)
        with pytest.raises(InputError, match=r"no\.jpg"):
            tiles.pyramid(tmp_path / "no.jpg", 0, worker)
    finally:
        worker.close()


def test_the_interval_of_a_reading_lies_as_its_error_does():
    inside, outside, unseen = intervals([Error(2, 1, 6, 6), Error(-90, 2, 6, 6), Error(None, None, 6, 6)])
    mm = (inside.band[1] - inside.band[0]) / 12
    assert inside.band[0] + inside.band[1] == pytest.approx(2 * MIDDLE, abs=0.2)
    assert (inside.bar[0] - MIDDLE, inside.dot - MIDDLE, inside.bar[1] - MIDDLE) == pytest.approx(
        (mm, 2 * mm, 3 * mm), abs=0.2
    )
    assert outside.below
    assert outside.bar is None
    assert not outside.above
    assert unseen.bar is None
    assert all(abs(x - MIDDLE) <= HALF for x in (*inside.band, *inside.bar))


def test_a_side_on_another_line_takes_its_corners_along_the_sides_beside_it():
    square = np.array([(0.0, 0.0), (100.0, 0.0), (100.0, 100.0), (0.0, 100.0)])
    cases = {
        "sill": (((-5.0, 80.0), (50.0, 80.0)), [(0, 0), (100, 0), (100, 80), (0, 80)]),
        "head": (((0.0, 10.0), (100.0, 20.0)), [(0, 10), (100, 20), (100, 100), (0, 100)]),
        "left": (((7.0, 0.0), (7.0, 9.0)), [(7, 0), (100, 0), (100, 100), (7, 100)]),
        "right": (((90.0, 0.0), (90.0, 9.0)), [(0, 0), (90, 0), (90, 100), (0, 100)]),
    }
    for side, (line, corners) in cases.items():
        assert np.allclose(on_line(square, side, line), corners), side
    with pytest.raises(InputError, match="cross"):
        on_line(square, "head", ((0.0, 0.0), (0.0, 9.0)))
