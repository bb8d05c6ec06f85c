"""Photos in: oracles are the Exif rows of facts.md 5, Pillow's decoder, hashlib and the contract's limits."""

from __future__ import annotations

import hashlib
import os
import struct
import warnings
import zlib
from pathlib import Path

import numpy as np
import pytest
from PIL import ExifTags, Image, ImageFile, TiffImagePlugin

from vision.errors import PhotoError
from vision.photo.exif import ExifFacts
from vision.photo.reading import read_photo

W, H = 720, 540  # 0.39 MP, just above the contract's least
# facts.md 5, from the Exif standard: where the stored 0th row and 0th column are shown.
SHOWN = {
    1: ("top", "left"),
    2: ("top", "right"),
    3: ("bottom", "right"),
    4: ("bottom", "left"),
    5: ("left", "top"),
    6: ("right", "top"),
    7: ("right", "bottom"),
    8: ("left", "bottom"),
}


def scene(width: int = W, height: int = H) -> np.ndarray:
    """Smooth colours with a white mark in the stored top left."""
    y, x = np.mgrid[0:height, 0:width]
    rgb = np.stack([40 + 80 * x / width, 40 + 80 * y / height, 60 + 0 * x], axis=-1).astype(np.uint8)
    rgb[:48, :96] = 255
    return rgb


def written(path: Path, picture: Image.Image | None = None, **options: object) -> Path:
    (picture or Image.fromarray(scene())).save(path, **options)
    return path


def exif_with(tags: dict[int, object] | None = None, orientation: object = None) -> Image.Exif:
    exif = Image.Exif()
    if orientation is not None:
        exif[ExifTags.Base.Orientation] = orientation
    exif.get_ifd(ExifTags.IFD.Exif).update(tags or {})
    return exif


def refusal(path: Path) -> PhotoError:
    with pytest.raises(PhotoError) as caught:
        read_photo(path)
    says = str(caught.value)
    assert "\n" not in says
    assert path.name.split("\n")[0] in says
    return caught.value


def mark_corner(rgb: np.ndarray) -> tuple[str, str]:
    ys, xs = np.nonzero(rgb.min(axis=2) > 200)
    return (
        "top" if ys.mean() < rgb.shape[0] / 2 else "bottom",
        "left" if xs.mean() < rgb.shape[1] / 2 else "right",
    )


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("suffix", [".jpg", ".png", ".tif", ".webp"])
def test_each_exif_orientation_shows_row_and_column_0_where_the_standard_says(tmp_path, orientation, suffix):
    path = written(tmp_path / f"o{suffix}", exif=exif_with(orientation=orientation))
    photo = read_photo(path)
    row, column = SHOWN[orientation]
    assert set(mark_corner(photo.rgb)) == {row, column}
    assert photo.size_px == ((W, H) if orientation < 5 else (H, W))
    assert photo.exif.orientation == orientation
    # the mark is 96 along the stored row, 48 along the stored column
    ys, xs = np.nonzero(photo.rgb.min(axis=2) > 200)
    along_row_is_x = orientation < 5
    assert (np.ptp(xs) > np.ptp(ys)) == along_row_is_x


def test_a_photo_stored_4032_by_3024_with_orientation_6_is_shown_3024_by_4032(tmp_path):
    # facts.md check 22
    path = written(tmp_path / "six.jpg", Image.new("RGB", (4032, 3024), (90, 90, 90)), exif=exif_with(orientation=6))
    assert read_photo(path).size_px == (3024, 4032)


@pytest.mark.parametrize("orientation", [0, 9, 65535])
def test_an_invalid_orientation_is_ignored(tmp_path, orientation):
    photo = read_photo(written(tmp_path / "o.jpg", exif=exif_with(orientation=orientation)))
    assert (photo.size_px, mark_corner(photo.rgb), photo.exif.orientation) == ((W, H), ("top", "left"), 1)


@pytest.mark.parametrize(
    ("turn", "corner"),
    [(0, ("top", "left")), (90, ("top", "right")), (180, ("bottom", "right")), (270, ("bottom", "left"))],
)
def test_turn_is_clockwise_and_comes_after_the_orientation(tmp_path, turn, corner):
    plain = read_photo(written(tmp_path / "p.png"), turn)
    assert mark_corner(plain.rgb) == corner
    # a photo stored turned back by 90 degrees with orientation 6 is the same photo
    stored = Image.fromarray(np.ascontiguousarray(np.rot90(scene(), 1)))
    flagged = read_photo(written(tmp_path / "f.png", stored, exif=exif_with(orientation=6)), turn)
    np.testing.assert_array_equal(flagged.rgb, plain.rgb)


def test_a_turn_by_other_than_quarters_is_wrong_use(tmp_path):
    with pytest.raises(ValueError, match="90"):
        read_photo(written(tmp_path / "p.png"), 45)


def test_the_pixels_are_those_of_pillow_and_read_only_and_the_hash_is_of_the_file(tmp_path):
    path = written(tmp_path / "p.jpg", Image.fromarray(scene(1500, 1100)), quality=90)
    photo = read_photo(path)
    np.testing.assert_array_equal(photo.rgb, np.asarray(Image.open(path)))
    assert photo.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert photo.rgb.dtype == np.uint8
    assert photo.rgb.flags.c_contiguous
    with pytest.raises(ValueError, match="read-only"):
        photo.rgb[0, 0] = 0


@pytest.mark.parametrize("turned", [False, True])
def test_heic_arrives_upright_once_whatever_its_exif_says(tmp_path, turned):
    heif = pytest.importorskip("pillow_heif", reason="extra heic not installed")
    exif = exif_with({ExifTags.Base.FocalLengthIn35mmFilm: 26}, orientation=6 if turned else 1)
    picture = heif.from_pillow(Image.fromarray(scene()))
    path = tmp_path / "p.jpg"  # also under a wrong name
    picture.save(path, quality=90, exif=exif.tobytes(), format="HEIF")
    photo = read_photo(path)
    assert photo.size_px == ((H, W) if turned else (W, H))
    assert mark_corner(photo.rgb) == (("top", "right") if turned else ("top", "left"))
    assert photo.exif.focal35_mm == 26.0
    path.write_bytes(path.read_bytes()[:-2000])
    assert refusal(path).code in {"photo-truncated", "photo-damaged"}


def test_avif_is_said_to_be_no_kind_that_is_read(tmp_path):
    """Found: it was said to be damaged. Brands as AVIF, section 6, and ISO/IEC 23008-12 have writers list them."""
    path = tmp_path / "p.avif"
    path.write_bytes(struct.pack(">I", 32) + b"ftypavif" + b"\0\0\0\0avifmif1miafMA1B" + b"\0" * 2000)
    refused = refusal(path)
    assert refused.code == "photo-format"
    assert "AVIF is no kind that is read here; save the photo as JPEG" in str(refused)


def test_without_the_extra_a_heic_names_the_extra(tmp_path, monkeypatch):
    monkeypatch.setitem(__import__("sys").modules, "pillow_heif", None)
    path = tmp_path / "p.heic"
    path.write_bytes(struct.pack(">I", 24) + b"ftypheic" + b"\0\0\0\0mif1heic" + b"\0" * 2000)
    error = refusal(path)
    assert error.code == "heic-extra-missing"
    assert "secondtape[heic]" in error.message


def test_grey_palette_cmyk_and_transparent_pictures_come_as_rgb(tmp_path):
    rgb = scene()
    grey = Image.fromarray(rgb).convert("L")
    as_grey = np.repeat(np.asarray(grey)[..., None], 3, axis=2)
    deep = Image.fromarray(np.asarray(grey).astype(np.uint16) * 257)
    for name, picture in {
        "l.jpg": grey,
        "l.png": grey,
        "la.png": grey.convert("LA"),
        "i16.png": deep,
        "i16.tif": deep,
        "i.tif": deep.convert("I"),
        "f.tif": Image.fromarray(np.asarray(grey).astype(np.float32) / 255),
    }.items():
        np.testing.assert_allclose(
            read_photo(written(tmp_path / name, picture)).rgb.astype(int),
            as_grey,
            atol=6 if "jpg" in name else 1,
        )
    bits = read_photo(written(tmp_path / "1.png", grey.convert("1"))).rgb
    assert set(np.unique(bits)) == {0, 255}
    palette = read_photo(written(tmp_path / "p.png", Image.fromarray(rgb).quantize(256))).rgb
    assert np.abs(palette.astype(int) - rgb).mean() < 4
    cmyk = read_photo(written(tmp_path / "c.jpg", Image.fromarray(rgb).convert("CMYK"), quality=95)).rgb
    assert np.abs(cmyk.astype(int) - rgb).mean() < 3
    clear = Image.fromarray(rgb).convert("RGBA")
    clear.putalpha(Image.new("L", (W, H), 0))
    assert read_photo(written(tmp_path / "a.png", clear)).rgb.min() == 255


def test_of_several_frames_the_first_is_read(tmp_path):
    frames = [Image.fromarray(scene()), Image.new("RGB", (W, H), (255, 0, 0))]
    for name in ("a.webp", "a.png", "a.tif"):
        options = {"lossless": True} if name == "a.webp" else {}
        written(tmp_path / name, frames[0], save_all=True, append_images=frames[1:], **options)
        np.testing.assert_array_equal(read_photo(tmp_path / name).rgb, scene())
    path = written(tmp_path / "a.jpg", frames[0], format="MPO", save_all=True, append_images=frames[1:])
    assert mark_corner(read_photo(path).rgb) == ("top", "left")


@pytest.mark.parametrize("name", ["big.jpg", "big.png"])
def test_above_60_mp_a_photo_is_read_at_half_size_and_says_so(tmp_path, name):
    path = written(
        tmp_path / name, Image.new("L", (8001, 7601), 90), **({"compress_level": 1} if "png" in name else {})
    )
    photo = read_photo(path)
    assert (photo.size_px, photo.reduced) == ((4001, 3801), 2)
    assert any("half size" in note for note in photo.notes)


def png_header(width: int, height: int) -> bytes:
    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    head = chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0))
    return b"\x89PNG\r\n\x1a\n" + head + chunk(b"IDAT", zlib.compress(bytes(50_000), 0)) + chunk(b"IEND", b"")


@pytest.mark.parametrize(("width", "height"), [(100_000, 100_000), (20_000, 13_000), (100, 100)])
def test_a_header_beyond_the_limits_is_refused_before_decoding(tmp_path, width, height):
    path = tmp_path / "bomb.png"
    path.write_bytes(png_header(width, height))
    assert refusal(path).code == "photo-size"


def test_what_is_no_regular_file_is_refused_without_opening_it(tmp_path):
    os.mkfifo(tmp_path / "pipe.jpg")
    assert refusal(tmp_path / "pipe.jpg").code == "photo-not-a-file"  # would hang if it were opened
    (tmp_path / "folder.jpg").mkdir()
    assert refusal(tmp_path / "folder.jpg").code == "photo-not-a-file"
    assert refusal(tmp_path / "none.jpg").code == "photo-missing"
    assert refusal(tmp_path / "none.jpg" / "below.jpg").code == "photo-missing"
    assert refusal(tmp_path / ("x" * 400)).code == "photo-unreadable"


def test_empty_tiny_huge_and_foreign_files_are_told_apart(tmp_path):
    path = tmp_path / "x.jpg"
    for content, code in [
        (b"", "photo-empty"),
        (b"\xff\xd8\xff\xe0" * 20, "photo-too-small"),
        (b"this is a text about a window\n" * 100, "photo-format"),
        (b"%PDF-1.7\n" + bytes(5000), "photo-format"),
        (b"GIF89a" + bytes(5000), "photo-format"),
    ]:
        path.write_bytes(content)
        assert refusal(path).code == code
    os.truncate(path, 150_000_001)
    assert refusal(path).code == "photo-too-large"


@pytest.mark.skipif(os.geteuid() == 0, reason="root may read everything")
def test_a_file_without_read_permission_says_so(tmp_path):
    path = written(tmp_path / "p.jpg")
    path.chmod(0)
    assert refusal(path).code == "photo-unreadable"


@pytest.mark.parametrize("name", ["p.jpg", "q.jpg", "p.png", "p.webp", "p.tif"])
@pytest.mark.parametrize("part", [0.3, 0.6, 0.9, 0.99])
def test_a_cut_photo_is_refused_and_never_half_decoded(tmp_path, name, part):
    noisy = np.random.default_rng(3).integers(0, 255, (H, W, 3), dtype=np.uint8)
    options = {"q.jpg": {"progressive": True}, "p.tif": {"compression": "tiff_lzw"}}.get(name, {})
    path = written(tmp_path / name, Image.fromarray(noisy), **options)
    data = path.read_bytes()
    path.write_bytes(data[: int(len(data) * part)])
    assert refusal(path).code in {"photo-truncated", "photo-damaged"}
    if name.endswith("jpg"):  # copied in full length, the rest never arrived
        path.write_bytes(data[: int(len(data) * part)] + bytes(int(len(data) * (1 - part))))
        assert refusal(path).code == "photo-truncated"


def test_mutated_photos_give_a_photo_or_our_error_and_no_warning(tmp_path):
    exif = exif_with({ExifTags.Base.FocalLengthIn35mmFilm: 26, ExifTags.Base.LensModel: "a lens"}, orientation=6)
    rng = np.random.default_rng(20)
    seeds = []
    for name in ("m.jpg", "m.png", "m.tif", "m.webp"):
        data = written(tmp_path / name, exif=exif).read_bytes()
        seeds.append((tmp_path / name, np.frombuffer(data, np.uint8)))
    refused = 0
    for trial in range(240):
        path, data = seeds[trial % 4]
        mutant = data.copy()
        # half of the trials hit the headers, where the structure is
        reach = 700 if trial % 8 < 4 else data.size
        places = rng.integers(0, min(reach, data.size), rng.integers(1, 12))
        mutant[places] = rng.integers(0, 256, places.size)
        path.write_bytes(mutant.tobytes()[: rng.integers(1000, data.size + 1) if trial % 7 == 0 else None])
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            try:
                photo = read_photo(path)
            except PhotoError:
                refused += 1
            else:
                assert photo.rgb.shape == (photo.size_px[1], photo.size_px[0], 3)
    assert 20 < refused < 220  # the mutator does hit, and does not only destroy


def test_pillows_own_limits_are_as_before(tmp_path):
    before = Image.MAX_IMAGE_PIXELS, ImageFile.LOAD_TRUNCATED_IMAGES, list(warnings.filters)
    read_photo(written(tmp_path / "p.jpg"))
    refusal(tmp_path / "none.jpg")
    assert (Image.MAX_IMAGE_PIXELS, ImageFile.LOAD_TRUNCATED_IMAGES, list(warnings.filters)) == before


def test_exif_facts_come_as_checked_values(tmp_path):
    exif = exif_with(
        {
            ExifTags.Base.FocalLength: TiffImagePlugin.IFDRational(5652, 1000),
            ExifTags.Base.FocalLengthIn35mmFilm: 26,
            ExifTags.Base.DigitalZoomRatio: TiffImagePlugin.IFDRational(3, 2),
            ExifTags.Base.LensModel: "back camera\n5.65mm",
            ExifTags.Base.DateTimeOriginal: "2026:05:04 09:31:07",
            ExifTags.Base.OffsetTimeOriginal: "-05:00",
            ExifTags.Base.ExifImageWidth: 4032,
            ExifTags.Base.ExifImageHeight: 3024,
        }
    )
    exif[ExifTags.Base.Make] = "Maker"
    photo = read_photo(written(tmp_path / "p.jpg", exif=exif))
    assert photo.exif == ExifFacts(
        "Maker", None, "back camera5.65mm", 5.652, 26.0, 1.5, 1, "2026-05-04T09:31:07-05:00", (4032, 3024)
    )
    assert any("digital zoom" in note for note in photo.notes)


def test_absurd_exif_becomes_none_with_a_note_and_0_means_unknown(tmp_path):
    exif = exif_with(
        {
            ExifTags.Base.FocalLength: TiffImagePlugin.IFDRational(0, 0),
            ExifTags.Base.FocalLengthIn35mmFilm: 65000,
            ExifTags.Base.DateTimeOriginal: "0000:00:00 00:00:00",
        }
    )
    photo = read_photo(written(tmp_path / "p.jpg", exif=exif))
    assert (photo.exif.focal_mm, photo.exif.focal35_mm, photo.exif.taken) == (None, None, None)
    assert any("35 mm equivalent" in note for note in photo.notes)
    unknown = read_photo(written(tmp_path / "q.jpg", exif=exif_with({ExifTags.Base.FocalLengthIn35mmFilm: 0})))
    assert (unknown.exif.focal35_mm, unknown.notes) == (None, ())


def test_garbage_in_place_of_exif_never_stops_a_photo(tmp_path):
    for junk in (b"Exif\0\0", b"Exif\0\0II*\0\xff\xff\xff\xff", b"Exif\0\0" + bytes(range(256))):
        path = written(tmp_path / "p.jpg", exif=junk)
        assert read_photo(path).size_px == (W, H)


@pytest.mark.parametrize("size_px", [(1, 400_000), (60_000, 6), (199, 2000)])
def test_a_strip_is_no_photo_however_long(tmp_path, size_px):
    """Found: OpenCV failed on it, and this program said that it was its own mistake."""
    Image.new("L", size_px).save(path := tmp_path / "strip.png", compress_level=0)
    refused = refusal(path)
    assert refused.code == "photo-too-small"
    assert f"{size_px[0]} x {size_px[1]} pixels, less than 200 on a side" in str(refused)
