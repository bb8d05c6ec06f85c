"""New jobs and photos at the desk over its real application: real files, real photos, real child processes."""

import errno
import io
import json
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from PIL import Image

from tests.desk_jobs import TYPED, job, jpeg, served


@pytest.fixture(scope="module")
def desk(tmp_path_factory):
    with served(tmp_path_factory.mktemp("desk")) as client:
        yield client


def test_a_new_job_starts_with_photos_and_is_marked_not_for_ordering(desk):
    data = {"id": "larch 1", "units": "in", "labels": "W1, W2", "wall": "masonry", "measured_on": "2026-05-04"}
    files = [("photos", ("a.jpg", jpeg(1))), ("photos", ("b.jpg", jpeg(2)))]
    answer = desk.post("/new", data=data, files=files)
    assert answer.status_code == 200
    assert "Pre-quote, not for ordering" in answer.text
    folder = next(p for p in desk.root.iterdir() if p.name.startswith("larch-1-"))
    assert {p.name for p in folder.glob("*.jpg")} == {"a.jpg", "b.jpg"}
    assert tomllib.loads((folder / "job.toml").read_text())["job"]["id"] == "larch 1"


def test_a_new_job_holds_no_date_of_measuring_that_nobody_typed(desk):
    """Contract: `measured_on` is optional; the day on which a file is made is not that of the tape."""
    page = desk.get("/new").text
    form = dict(re.findall(r'name="(\w+)" id="\w+" value="([^"]*)"', page))
    assert form["measured_on"] == ""
    assert desk.post("/new", data=form | {"id": "larch 9", "units": "in", "wall": "masonry"}).status_code == 200
    folder = next(p for p in desk.root.iterdir() if p.name.startswith("larch-9-"))
    assert "measured_on" not in tomllib.loads((folder / "job.toml").read_text())["job"]


def test_the_verdict_and_what_changed_since_stand_apart(desk):
    folder = job(desk, "apart")
    document = {"verdict": "hold", "sha256": "", "openings": [{"label": "W1", "verdict": "hold", "photos": []}]}
    result = folder / "secondtape" / "abc" / "result.json"
    result.parent.mkdir(parents=True)
    result.write_text(json.dumps({"jobs": [document]}))
    said = re.sub(r"<[^>]+>", "", desk.get("/job/apart").text)
    assert "stop: ask Changed since this check: job.toml." in " ".join(said.split("\n")).replace("  ", " ")


@pytest.mark.parametrize(
    ("data", "says"),
    [
        ({"id": ""}, "give it a name"),
        ({"labels": " , "}, "name 1 to 200 openings"),
        ({"labels": "W1, W1"}, "2 openings have this label"),
        ({"measured_on": "soon"}, "is no date"),
        ({"wall": "straw"}, "must be"),
        ({"units": "ells"}, "must be"),
    ],
)
def test_what_makes_no_job_is_said_on_the_form_and_what_was_typed_stays(desk, data, says):
    given = {"id": "nope", "units": "in", "labels": "W1", "wall": "masonry", "note": "typed already"} | data
    answer = desk.post("/new", data=given)
    assert answer.status_code == 400
    assert says in answer.text
    assert "typed already" in answer.text
    assert not (desk.root / "nope" / "job.toml").exists()


def test_a_job_is_never_made_over_another(desk):
    job(desk, "taken")
    before = (desk.root / "taken" / "job.toml").read_bytes()
    answer = desk.post("/new", data={"id": "taken", "units": "mm", "labels": "W1", "wall": "masonry"})
    assert "choose another" in answer.text
    assert (desk.root / "taken" / "job.toml").read_bytes() == before


def test_where_no_folder_can_be_made_the_page_says_so(desk, monkeypatch):
    def full(*args, **kwargs):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(Path, "mkdir", full)
    answer = desk.post("/new", data={"id": "in-the-way", "units": "in", "labels": "W1", "wall": "masonry"})
    assert answer.status_code == 500
    assert "could not be read or written: No space left on device" in answer.text


def test_the_time_of_a_heic_is_read_from_its_header(desk):
    pillow_heif = pytest.importorskip("pillow_heif", reason="the extra heic is not installed")
    folder = job(desk, "heic")
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0x9003] = "2026:05:04 11:22:33"
    heif = pillow_heif.from_pillow(Image.effect_noise((160, 120), 40).convert("RGB"))
    heif.save(folder / "a.heic", exif=exif.tobytes())
    assert "2026-05-04 11:22:33" in desk.get("/job/heic").text


def test_photos_get_safe_names_and_never_replace_a_file(desk):
    folder = job(desk, "photos")
    outside = {p.name for p in desk.root.iterdir()}
    one, other = jpeg(3), jpeg(4)
    for content in (one, other, one):
        assert desk.post("/job/photos/photos", files=[("photos", ("../../a.jpg", content))]).status_code == 200
    assert (folder / "a.jpg").read_bytes() == one
    assert (folder / "a-2.jpg").read_bytes() == other
    assert {p.name for p in folder.glob("*.jpg")} == {"a.jpg", "a-2.jpg"}
    assert {p.name for p in desk.root.iterdir()} == outside


@pytest.mark.parametrize(
    ("name", "content", "says"),
    [
        ("a.exe", b"MZ" * 1000, "not a photo of a kind"),
        ("job.toml", b"x" * 2000, "not a photo of a kind"),
        ("a.jpg", b"<script>" * 500, "not a photo of a kind"),
        ("cut.jpg", jpeg(5)[:-2000], "cut off"),
        ("tiny.jpg", b"\xff\xd8", "bytes cannot be a photo"),
        ("small.jpg", jpeg(5, (300, 300)), "less than 0.3 MP"),
    ],
)
def test_what_is_no_photo_is_refused_and_not_kept(desk, name, content, says):
    folder = desk.root / "no-photos"
    if not folder.exists():
        job(desk, "no-photos")
    answer = desk.post("/job/no-photos/photos", files=[("photos", (name, content))])
    assert answer.status_code == 400
    assert says in answer.text
    assert {p.name for p in folder.iterdir()} <= {"job.toml", "secondtape", ".job.lock"}
    assert (folder / "job.toml").read_text().startswith("[job]")


def test_what_is_no_photo_is_refused_with_a_new_job_too_and_the_others_are_kept(desk):
    data = {"id": "larch 2", "units": "in", "labels": "W1", "wall": "masonry", "measured_on": "2026-05-04"}
    files = [("photos", ("notes.jpg", b"width 36 inches\n" * 100)), ("photos", ("b.jpg", jpeg(2)))]
    answer = desk.post("/new", data=data, files=files)
    assert answer.status_code == 400
    assert "notes.jpg: not a photo of a kind that is read here" in answer.text
    folder = next(p for p in desk.root.iterdir() if p.name.startswith("larch-2-"))
    assert {p.name for p in folder.glob("*.jpg")} == {"b.jpg"}


@pytest.mark.parametrize(
    ("content", "says"),
    [(b"width 36 inches\n" * 100, "not a photo of a kind"), (jpeg(5, (300, 300)), "less than 0.3 MP")],
    ids=["text", "small"],
)
def test_a_photo_in_the_folder_that_cannot_be_used_is_shown_with_its_reason_and_can_be_left_out(desk, content, says):
    name = f"unusable-{len(content)}"
    folder = job(desk, name)
    (folder / "notes.jpg").write_bytes(content)
    (folder / "good.jpg").write_bytes(jpeg(8))
    desk.post(f"/job/{name}/assign", data={"photo": "notes.jpg", "to": "W1"})
    desk.get(f"/job/{name}/photo/360/notes.jpg")  # as a browser does
    page = desk.get(f"/job/{name}").text
    assert "This photo cannot be used: " in page
    assert says in page
    assert 'alt="notes.jpg"' not in page
    assert 'alt="good.jpg"' in page
    assert desk.post(f"/job/{name}/left-out", data={"photo": "good.jpg"}).status_code == 400
    assert (folder / "good.jpg").exists()
    answer = desk.post(f"/job/{name}/left-out", data={"photo": "notes.jpg"})
    assert answer.status_code == 200
    assert "notes.jpg" not in answer.text
    assert (folder / "secondtape" / "left-out" / "notes.jpg").read_bytes() == content
    assert not (folder / "notes.jpg").exists()
    assert "notes.jpg" not in (folder / "job.toml").read_text()


def test_a_picture_that_unpacks_beyond_the_limit_is_refused_by_its_header(desk):
    job(desk, "bomb")
    stream = io.BytesIO()
    Image.new("1", (20_000, 20_000)).save(stream, "PNG")  # 400 MP; contract: at most 250 MP
    assert len(stream.getvalue()) < 200_000
    answer = desk.post("/job/bomb/photos", files=[("photos", ("a.png", stream.getvalue()))])
    assert answer.status_code == 400
    assert "more than 250 MP" in answer.text


def test_a_file_beyond_its_limit_leaves_nothing_behind(desk, monkeypatch):
    folder = job(desk, "large")
    monkeypatch.setattr("sizing.desk.uploads.MOST_BYTES", 50_000)
    answer = desk.post("/job/large/photos", files=[("photos", ("a.jpg", jpeg(9)))])
    assert "more than 150 MB" in answer.text
    assert [p.name for p in folder.iterdir()] == ["job.toml"]


KEEPS = """
import io, sys
from pathlib import Path
from starlette.datastructures import UploadFile
from sizing.desk.uploads import keep_photo
for i in range(25):
    content = f"{sys.argv[2]}{i}".encode() * 100
    keep_photo(Path(sys.argv[1]), UploadFile(io.BytesIO(content), filename="a.jpg"))
"""


def test_of_photos_of_one_name_kept_by_two_processes_none_is_lost(tmp_path):
    two = [subprocess.Popen([sys.executable, "-c", KEEPS, str(tmp_path), name]) for name in "ab"]
    assert [p.wait(60) for p in two] == [0, 0]
    assert {p.read_bytes() for p in tmp_path.iterdir()} == {f"{n}{i}".encode() * 100 for n in "ab" for i in range(25)}
    assert len(list(tmp_path.iterdir())) == 50


def test_a_request_without_or_beyond_its_size_is_not_read(desk):
    job(desk, "sizes")
    assert desk.post("/job/sizes/readings", headers={"content-length": "9000000"}).status_code == 413
    assert desk.post("/job/sizes/readings", content=iter([b"x"])).status_code == 411


def test_pictures_are_ours_without_exif_and_upright(desk):
    folder = job(desk, "exif")
    exif = Image.Exif()
    exif[0x0112] = 6  # Exif 2.3, orientation: to be turned by a right angle
    exif[0x010E] = "secret address"
    exif.get_ifd(0x8769)[0x9003] = "2026:05:04 10:12:00"
    Image.effect_noise((800, 600), 40).save(folder / "a.jpg", exif=exif)
    answer = desk.get("/job/exif/photo/360/a.jpg")
    assert answer.headers["content-type"] == "image/jpeg"
    assert b"secret" not in answer.content
    assert Image.open(io.BytesIO(answer.content)).size == (270, 360)
    assert "2026-05-04 10:12:00" in desk.get("/job/exif").text
    assert desk.get("/job/exif/photo/361/a.jpg").status_code == 404
    for name in ("job.toml", "../taken/job.toml", "%2e%2e/%2e%2e/etc/passwd", "none.jpg"):
        assert desk.get(f"/job/exif/photo/360/{name}").status_code in (400, 404)


def test_a_photo_is_given_moved_and_taken_back_and_stays_listed(desk):
    folder = job(desk, "assign", TYPED.format(id="assign", by="") + '[[opening]]\nlabel = "W2"\nwall = "siding"\n')
    (folder / "a.jpg").write_bytes(jpeg(7))

    def photos():
        return [o.get("photos", []) for o in tomllib.loads((folder / "job.toml").read_text())["opening"]]

    def assign(**data):
        return desk.post("/job/assign/assign", data={"photo": "a.jpg", **data})

    assert "1 photo is not used" in desk.get("/job/assign").text
    assign(to="W1")
    assert photos() == [["a.jpg"], []]
    assign(to="W2", also="1")
    assert photos() == [["a.jpg"], ["a.jpg"]]
    assign(to="W2")
    assert photos() == [[], ["a.jpg"]]
    assert "1 photo is not used" in assign(to="").text
    assert photos() == [[], []]
    assert assign(to="W9").status_code == 400
    assert desk.post("/job/assign/assign", data={"photo": "../taken/job.toml", "to": "W1"}).status_code == 404
