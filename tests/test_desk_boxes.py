"""Boxes over an opening's photo, over the real application: what is in the way, and what no copy may show."""

import tomllib
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from sizing.errors import InputError
from sizing.jobs.file import load_job
from sizing.pictures.blanking import Blank, add_blank, boxes_of, read_blanks, remove_blank
from tests.desk_visit import visited

OWN = {"sec-fetch-site": "same-origin"}
PAGE = "/job/larch/opening/W1/boxes"
JOB = """# typed on site
[job]
id = "larch"
units = "in"

[[opening]]
label = "W1"   # kitchen
wall = "masonry"
photos = ["a.jpg", "b.jpg"]
[opening.width]
top = "36"
"""
HOSTILE = "<img src=x onerror=alert(1)>'\"{{7*7}}"


@pytest.fixture(scope="module")
def desk(tmp_path_factory):
    """A desk's folder with one job; one desk for all tests, since its decoding child takes a second to start."""
    folder = tmp_path_factory.mktemp("desk") / "larch"
    folder.mkdir()
    rng = np.random.default_rng(1)
    for name in ("a.jpg", "b.jpg"):
        Image.fromarray(rng.integers(0, 255, (60, 80, 3), np.uint8)).resize((800, 600)).save(folder / name)
    return folder.parent


@pytest.fixture
def root(desk):
    (desk / "larch" / "job.toml").write_text(JOB)
    (desk / "larch" / "blank.toml").unlink(missing_ok=True)
    return desk


@pytest.fixture(scope="module")
def visit(desk):
    with visited(desk) as client:
        yield client


def sha256(root):
    return load_job(root / "larch" / "job.toml").sha256


def box(root, **more):
    form = {"do": "add", "kind": "obstacle", "what": "downpipe", "number": "0", "sha256": sha256(root)}
    return form | {"x0": "10", "y0": "20", "x1": "110", "y1": "220"} | more


def add(visit, root, **more):
    return visit.post(PAGE, data=box(root, **more), headers=OWN, follow_redirects=False)


def obstacles(root):
    return load_job(root / "larch" / "job.toml").openings[0].obstacles


def test_an_obstacle_drawn_stands_in_the_job_file_and_its_comments_stay(visit, root):
    assert add(visit, root).status_code == 303
    (one,) = obstacles(root)
    assert (one.what, one.photo) == ("downpipe", "a.jpg")
    assert one.outline_px == ((10, 20), (110, 20), (110, 220), (10, 220))
    text = (root / "larch" / "job.toml").read_text()
    assert "# typed on site" in text
    assert "# kitchen" in text
    assert tomllib.loads(text)["opening"][0]["width"] == {"top": "36"}
    assert "downpipe" in visit.get(PAGE).text


def test_an_obstacle_goes_to_the_photo_that_was_shown(visit, root):
    add(visit, root, number="1")
    assert obstacles(root)[0].photo == "b.jpg"


def test_removing_takes_out_that_obstacle_only_and_the_last_leaves_no_key(visit, root):
    for what in ("downpipe", "lamp", "vent"):
        add(visit, root, what=what)
    gone = {"do": "remove-obstacle", "at": "1", "sha256": sha256(root)}
    assert visit.post(PAGE, data=gone, headers=OWN, follow_redirects=False).status_code == 303
    assert [o.what for o in obstacles(root)] == ["downpipe", "vent"]
    for _ in range(2):
        visit.post(PAGE, data=gone | {"at": "0", "sha256": sha256(root)}, headers=OWN)
    assert "obstacles" not in (root / "larch" / "job.toml").read_text()


def test_obstacles_written_as_tables_take_another_and_lose_one(visit, root):
    file = root / "larch" / "job.toml"
    file.write_text(JOB + '[[opening.obstacles]]\nwhat = "meter"\nphoto = "b.jpg"\nbox = [1, 2, 3, 4]\n')
    assert add(visit, root).status_code == 303
    assert [o.what for o in obstacles(root)] == ["meter", "downpipe"]
    visit.post(PAGE, data={"do": "remove-obstacle", "at": "0", "sha256": sha256(root)}, headers=OWN)
    assert [o.what for o in obstacles(root)] == ["downpipe"]


def test_a_job_changed_underneath_is_left_alone_and_both_versions_are_shown(visit, root):
    file = root / "larch" / "job.toml"
    form = box(root)
    file.write_text(JOB + "# another hand\n")
    answer = visit.post(PAGE, data=form, headers=OWN)
    assert answer.status_code == 409
    assert "another hand" in answer.text
    assert "downpipe" in answer.text
    assert obstacles(root) == ()


def test_a_blanking_box_goes_beside_the_job_and_out_again(visit, root):
    before = (root / "larch" / "job.toml").read_bytes()
    assert add(visit, root, kind="blank", what="").status_code == 303
    assert boxes_of(read_blanks(root / "larch"), "a.jpg") == ((10, 20, 110, 220),)
    assert (root / "larch" / "job.toml").read_bytes() == before
    gone = box(root) | {"do": "remove-blank", "photo": "a.jpg"}
    assert visit.post(PAGE, data=gone, headers=OWN, follow_redirects=False).status_code == 303
    assert read_blanks(root / "larch") == ()


def test_comments_of_the_blanking_file_and_boxes_of_other_photos_stay(root):
    folder = root / "larch"
    (folder / "blank.toml").write_text('# plate\n[[blank]]\nphoto = "b.jpg"  # van\nbox = [1, 2, 3, 4]\n')
    mine = Blank("a.jpg", (5.0, 6.0, 7.5, 8.0))
    add_blank(folder, mine)
    add_blank(folder, mine)
    assert read_blanks(folder) == (Blank("b.jpg", (1, 2, 3, 4)), mine)
    remove_blank(folder, mine)
    assert (folder / "blank.toml").read_text().rstrip() == (
        '# plate\n[[blank]]\nphoto = "b.jpg"  # van\nbox = [1, 2, 3, 4]'
    )
    with pytest.raises(InputError, match="not there any more"):
        remove_blank(folder, mine)


def test_a_blanking_file_that_says_something_else_is_shown_and_never_overwritten(visit, root):
    file = root / "larch" / "blank.toml"
    file.write_text("[[blank]]\nphoto = 1\n")
    assert "cannot be read" in visit.get(PAGE).text
    answer = add(visit, root, kind="blank")
    assert answer.status_code == 400
    assert "blank 1" in answer.text
    assert file.read_text() == "[[blank]]\nphoto = 1\n"


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ({"x0": "left"}, "left edge: needs a number"),
        ({"x1": "nan"}, "right edge: needs a number"),
        ({"x0": "500"}, "the left edge must be less than the right"),
        ({"x0": "900", "x1": "950"}, "outside of the photo, which is 800 x 600 px"),
        ({"what": " "}, "say what stands there"),
        ({"what": "x" * 101}, "up to 100 characters"),
        ({"kind": "roof"}, "choose what the box is for"),
        ({"do": "shout"}, "no such change"),
    ],
)
def test_a_box_that_cannot_be_is_refused_with_what_was_typed_kept(visit, root, wrong, says):
    answer = add(visit, root, **wrong)
    assert answer.status_code == 400
    assert says in answer.text
    assert 'value="220"' in answer.text
    assert (root / "larch" / "job.toml").read_text() == JOB
    assert not (root / "larch" / "blank.toml").exists()


def test_text_of_strangers_stays_text(visit, root):
    add(visit, root, what=HOSTILE)
    page = visit.get(PAGE).text
    assert "<img src=x" not in page
    assert obstacles(root)[0].what == HOSTILE


def test_a_change_from_another_site_is_refused(visit, root):
    assert visit.post(PAGE, data=box(root), headers={"origin": "http://elsewhere.example"}).status_code == 403
    assert obstacles(root) == ()


def test_an_opening_without_a_photo_says_where_to_take_one_in(visit, root):
    (root / "larch" / "job.toml").write_text(JOB.replace('photos = ["a.jpg", "b.jpg"]\n', ""))
    assert "no photo" in visit.get(PAGE).text
    assert Path(root / "larch" / "job.toml").exists()
