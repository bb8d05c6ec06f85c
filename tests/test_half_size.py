"""Photos above 60 MP, measured at half size: what people write stays in pixels of the photo. Oracles: its pixels."""

from dataclasses import replace

import numpy as np
import pytest
from PIL import ExifTags, Image

from sizing.check import check_job
from sizing.desk.photo_view import corner_facts, drawing, rival_lines
from sizing.jobs.file import load_job
from sizing.orders.obstacles import Rectangle, placed_obstacles
from sizing.pictures.cards import card_outlines
from sizing.result.document import job_document
from sizing.saving import save_run
from tests.desk_visit import visited
from tests.test_blanking import green, measured
from vision.errors import RequestError
from vision.photo.reading import read_photo
from vision.prepared import prepare
from vision.request import OpeningRequest, PhotoReport, PhotoRequest, Warning_
from vision.solved_photo import _in_the_photo

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
    sides = {"head": np.array([[100.0, 100.0], [500.0, 100.0]])}
    half = replace(
        estimate.photos[0],
        size_px=(4000, 3800),
        reduced=2,
        whole_px=SIZE,
        sides_px=sides,
        stations_px={"width_top": sides["head"]},
        rivals_px=(("head", -40.0, sides["head"]),),
    )
    return replace(estimate, photos=(half,))


def test_a_prepared_photo_says_how_much_smaller_it_is(folder):
    request = OpeningRequest((PhotoRequest(folder / "w1.jpg"),))
    report = prepare(request, request.photos[0]).report
    assert (report.size_px, report.reduced, report.whole_px) == ((4000, 3800), 2, SIZE)
    (warning,) = (w for w in report.warnings if w.code == "half-size")
    assert "8000 x 7600 px, above 60 MP, was measured at half its size, 4000 x 3800 px" in warning.message


def test_corners_outside_are_refused_in_the_pixels_that_they_were_given_in(folder):
    corners = np.array([[100.0, 100.0], [8000.0, 100.0], [7000.0, 7000.0], [100.0, 7000.0]])
    request = OpeningRequest((PhotoRequest(folder / "w1.jpg", corners_px=corners),))
    with pytest.raises(RequestError, match="corner 8000,100 lies outside the photo of 8000 x 7600 px"):
        prepare(request, request.photos[0])


def test_what_needs_a_look_is_placed_in_pixels_of_the_photo(folder):
    """Found: the places of two things like a card were those of the half-size picture, which nobody sees."""
    said = Warning_("no-reference", "several things in w1.jpg look like a card, at 100,200 and at 300,400 px; point")
    # reading.py: x_full = 2 x + 0.5
    assert "at 200,400 and at 600,800 px" in _in_the_photo(said, 2).message
    assert _in_the_photo(said, 1) is said


def test_a_size_that_a_camera_writes_is_not_taken_for_a_cut_because_half_of_it_is_odd(tmp_path):
    exif = Image.Exif()
    exif[ExifTags.Base.Make] = "a maker"
    whole = (9004, 6756)  # 4:3 in blocks of 4 px (`WHOLE_PX`); half of it is 4502 x 3378
    Image.new("RGB", whole, (90, 90, 90)).save(tmp_path / "a.jpg", exif=exif)
    request = OpeningRequest((PhotoRequest(tmp_path / "a.jpg"),))
    assert [w.code for w in prepare(request, request.photos[0]).report.warnings] == ["half-size"]


@pytest.mark.parametrize(("name", "options"), [("a.jpg", {}), ("a.png", {"compress_level": 1}), ("a.tif", {})])
@pytest.mark.parametrize(("orientation", "turn"), [(1, 0), (1, 90), (6, 0), (6, 90), (3, 0)])
def test_the_size_of_the_photo_itself_is_to_the_pixel_and_upright(tmp_path, name, options, orientation, turn):
    exif = Image.Exif()
    exif[ExifTags.Base.Orientation] = orientation
    Image.new("L", (8001, 7601), 90).save(tmp_path / name, exif=exif, **options)
    photo = read_photo(tmp_path / name, turn)
    lies = (orientation == 6) != (turn == 90)  # Exif 2.32, table 6: 6 is turned by a quarter
    assert photo.whole_px == ((7601, 8001) if lies else (8001, 7601))
    assert photo.size_px == ((3801, 4001) if lies else (4001, 3801))


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
    assert (photo["size_px"], photo["measured_size_px"]) == ([8000, 7600], [4000, 3800])
    # reading.py: x_full = 2 x + 0.5
    assert photo["corners_px"] == [[200.5, 200.5], [1000.5, 200.5], [1000.5, 800.5], [200.5, 800.5]]
    assert photo["references"][0]["corners_px"][2] == [125.5, 100.5]
    assert photo["sides_px"]["head"] == photo["stations_px"]["width_top"] == [[200.5, 200.5], [1000.5, 200.5]]
    assert photo["rivals_px"] == [{"side": "head", "shift_mm": -40.0, "ends_px": [[200.5, 200.5], [1000.5, 200.5]]}]


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


def test_the_desk_draws_a_result_on_the_picture_that_it_shows(folder):
    """The tiles are of the size that was measured."""
    found = job_document(check_job(folder, estimator=halved))["openings"][0]
    (opening,) = load_job(folder / "job.toml").openings
    drawn = drawing(opening, found, 0, "in")
    assert (drawn["size"], drawn["references"][0]["points"].split()[2]) == ([4000, 3800], "62.5,50.0")
    assert drawn["sides"][0]["points"] == drawn["stations"][0]["points"] == "100.0,100.0 500.0,100.0"
    assert corner_facts(opening, found, 0)["found"] == [[100, 100], [500, 100], [500, 400], [100, 400]]
    assert [line["ends_px"] for line in rival_lines(opening, found, 0)] == [[[100, 100], [500, 100]]]


def test_the_desk_does_not_draw_the_places_of_an_older_result(folder):
    found = job_document(check_job(folder, estimator=halved))["openings"][0]
    (opening,) = load_job(folder / "job.toml").openings
    found["photos"][0] |= {"reduced": 2}
    assert drawing(opening, found, 0, "in")["sides"] == corner_facts(opening, found, 0)["found"] == []


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
