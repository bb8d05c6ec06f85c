"""Photos above 60 MP, measured at half size: what people write stays in pixels of the photo. Oracles: its pixels."""

from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from sizing.check import check_job
from sizing.footprint.obstacles import Rectangle, placed_obstacles
from sizing.jobs.file import load_job
from sizing.report.cards import card_outlines
from sizing.result.document import job_document
from sizing.runs.saving import save_run
from tests.desk_visit import visited
from tests.test_blanking import green, measured
from vision.photo.prepared import prepare
from vision.request import OpeningRequest, PhotoReport, PhotoRequest

SIZE = (8000, 7600)  # 60.8 MP
BOX = (6000, 5000, 7999, 7599)
JOB = """[job]
id = "larch"
units = "in"
[[opening]]
label = "W1"
wall = "masonry"
photos = [{ file = "w1.jpg", reference = "id1", reference_corners = [[600, 500], [800, 500], [800, 620], [600, 620]] }]
obstacles = [{ what = "lamp", photo = "w1.jpg", box = [1000, 2000, 1100, 2200] }]
width = { top = "54 3/8", middle = "54 3/8", bottom = "54 3/8" }
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    home = tmp_path_factory.mktemp("desk") / "larch"
    home.mkdir()
    photo = Image.new("RGB", SIZE)
    photo.paste((0, 255, 0), (BOX[0], BOX[1], *SIZE))
    photo.save(home / "w1.jpg", quality=90)
    (home / "job.toml").write_text(JOB)
    return home


def halved(request, progress):
    estimate = measured(request, progress)
    half = replace(estimate.photos[0], size_px=(4000, 3800), reduced=2)
    return replace(estimate, photos=(half,))


def test_a_prepared_photo_says_how_much_smaller_it_is(folder):
    request = OpeningRequest((PhotoRequest(folder / "w1.jpg"),))
    report = prepare(request, request.photos[0]).report
    assert (report.size_px, report.reduced) == ((4000, 3800), 2)


def test_a_blanking_box_hides_what_it_covers_in_the_photo_itself(folder):
    (folder / "blank.toml").write_text(f'[[blank]]\nphoto = "w1.jpg"\nbox = {list(BOX)}\n')
    result = check_job(folder, estimator=halved)
    document = job_document(result)
    run, warnings = save_run(result, document, out=None, pictures=True)
    assert warnings == []
    pictures = [np.asarray(Image.open(p).convert("RGB")).astype(int) for p in run.glob("*.jpg")]
    assert pictures
    assert [green(pixels) for pixels in pictures] == [0] * len(pictures)
    (photo,) = document["openings"][0]["photos"]
    assert (photo["size_px"], photo["reduced"]) == ([4000, 3800], 2)


def test_an_obstacle_and_a_card_stand_where_they_are_in_the_photo(folder):
    (opening,) = load_job(folder / "job.toml").openings
    estimate = halved(OpeningRequest((PhotoRequest(folder / "w1.jpg"),)), None)
    estimate = replace(estimate, photos=(replace(estimate.photos[0], path=opening.photos[0].path),))
    zone = Rectangle(0, 0, 1000, 1000)
    ((thing,), _) = placed_obstacles(opening, estimate, zone, zone)
    # reading.py: x_full = 2 x + 0.5
    ends = (np.array([[1000.0, 2000.0], [1100.0, 2200.0]]) - 0.5) / 2
    to_photo = estimate.photos[0].wall_to_photo
    np.testing.assert_allclose(to_photo(thing.outline_mm[[0, 2]]), ends, atol=0.01)
    report = PhotoReport(opening.photos[0].path, "", (4000, 3800), reduced=2)
    (card,) = card_outlines(opening, opening.photos[0], report)
    np.testing.assert_allclose(card[0], [299.75, 249.75])


def test_the_desk_takes_boxes_in_pixels_of_the_photo(folder):
    (folder / "blank.toml").unlink(missing_ok=True)
    form = {"do": "add", "kind": "blank", "what": "", "number": "0", "sha256": load_job(folder / "job.toml").sha256}
    form |= dict(zip(("x0", "y0", "x1", "y1"), (str(end) for end in BOX), strict=True))
    with visited(folder.parent) as visit:
        answer = visit.post(
            "/job/larch/opening/W1/boxes",
            data=form,
            headers={"sec-fetch-site": "same-origin"},
            follow_redirects=False,
        )
    assert answer.status_code == 303, answer.text
