"""Job files that are refused, in one line each. Oracle: contract, *Job file*, *Limits* and *Commands*."""

import os
from functools import partial

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sizing.check import check_job
from sizing.errors import InputError, SizingError
from sizing.jobs.file import load_job
from tests.jobfiles import EXAMPLE, changed, job_folder, load_from, refused_by


@pytest.fixture
def folder(tmp_path):
    return job_folder(tmp_path)


@pytest.fixture
def load(folder):
    return partial(load_from, folder)


@pytest.fixture
def refused(folder):
    return partial(refused_by, folder)


def test_all_problems_are_said_at_once_with_their_places(refused):
    text = changed(
        ("units = ", "unit = "),
        ('top = "54 3/8"', 'topp = "54 3/8"'),
        ('left = "60"', 'left = "-60"'),
        ('wall = "masonry"', 'wall = "brick"'),
        ("on = 2026-05-11", "on = 2026-05-01"),
        ("quantity = 1", 'quantity = "1"'),
    )
    said = refused(text + EXAMPLE[EXAMPLE.index("[[opening]]") :])
    starts = [
        "job.units: is missing",
        "job.unit: unknown key; did you mean 'units'?",
        "opening[0] \"W1\".width.topp: unknown key; did you mean 'top'?",
        "opening[0] \"W1\".height.left: '-60' is negative",
        "opening[0] \"W1\".wall: must be 'masonry', 'render', 'siding' or 'panel'; found 'brick'",
        "opening[0] \"W1\".quantity: must be a whole number; found '1'",
        'opening[0] "W1".visit[0].on: 2026-05-01 is before',
        "opening 'W1': 2 openings have this label",
    ]
    missing = [start for start in starts if not any(one.startswith(f"job.toml: {start}") for one in said)]
    assert (missing, len(said)) == ([], len(starts))


SLIPS = [
    ('units = "in"', 'units = "inch"', "job.units: must be 'in' or 'mm'; found 'inch'; did you mean 'in'?"),
    ('units = "in"', "", 'job.units: is missing: say units = "in"'),
    ('top = "54 3/8"', 'top = "54 38"', "width.top: '54 38' can be read as 54 3/8 or as 5438"),
    ('top = "54 3/8"', 'top = "54 3/8 furlong"', "width.top: '54 3/8 furlong' is not a length"),
    ('top = "54 3/8"', "top = nan", "width.top: 'nan' is not a length"),
    ('top = "54 3/8"', "top = -inf", "width.top: '-inf' is not a length"),
    ('top = "54 3/8"', "top = true", "width.top: 'bool' is not a length"),
    ('top = "54 3/8"', "top = 54380", "width.top: '54380' is over 100 m"),
    ('top = "54 3/8"', "top = ['54']", "width.top: 'list' is not a length"),
    ("[opening.width]", "[opening.widht]", "\"W1\".widht: unknown key; did you mean 'width'?"),
    ('by = "crew 5"', 'buy = "crew 5"', "visit[0].buy: unknown key; did you mean 'by'?"),
    ('reference = "sheet"', 'reference = "sheets"', "reference: must be 'sheet', 'letter', 'a4' or 'id1'"),
    ('reference = "sheet"', "reference = { width = 5 }", "reference.height: is missing"),
    ('reference = "sheet"', "reference = { width = 5, hight = 5, height = 5 }", "did you mean 'height'?"),
    ('reference = "sheet"', "reference = { width = 0, height = 5 }", "the side of a reference is"),
    ('check_bar = "149.5 mm"', "check_bar = 149.5", "check_bar: '149.5' is 149 1/2 in"),
    ('check_bar = "149.5 mm"', 'check_bar = { u = "1 mm" }', "check_bar: names no bar"),
    ('check_bar = "149.5 mm"', 'check_bar = { along = "149.5 mm" }', "check_bar.along: '149.5 mm' is"),
    (
        'edge_offset = "3/4"',
        "edge_offset = 19",
        "edge_offset: '19' is 19 in: an edge offset is -11 13/16 in to",
    ),
    ('edge_offset = "3/4"', "edge_offset = { }", "edge_offset: names no side"),
    (
        'edge_offset = "3/4"',
        "edge_offset = { sil = 1 }",
        "edge_offset.sil: unknown key; did you mean 'sill'?",
    ),
    (
        'edge_offset = "3/4"',
        "edge_offset = { value = 1, u = 0 }",
        "edge_offset.u: '0' is 0 in: an uncertainty",
    ),
    ('tolerance = "1/4"', 'tolerance = "1381 mm"', "job.tolerance: '1381 mm' is 54 3/8 in: a tolerance is"),
    (
        'width = "55 3/8"',
        "width = 0",
        "opening[0] \"W1\".ordered.width: '0' is 0 in: a size to order or delivered is more",
    ),
    ('width = "55 3/8"', "width = -55", "ordered.width: '-55' is negative"),
    ('width = "55 3/8"', "width = nan", "ordered.width: 'nan' is not a length"),
    ('width = "55 3/8"', "width = 5538", "ordered.width: '5538' is over 100 m: check the unit"),
    ('height = "61 1/8"', 'height = "0 mm"', "delivered.height: '0 mm' is 0 in: a size to order or delivered is more"),
    ('tolerance = "1/4"', 'tolerance = "0"', "job.tolerance: '0' is 0 in: a tolerance is"),
    ('tolerance = "1/4"', "tolerance = { widht_under = 1 }", "did you mean 'width_under'?"),
    ('graduation = "1/16"', 'graduation = "0"', "job.graduation: '0' is 0 in: a graduation is"),
    ('tape = "class-2"', 'tape = "class-4"', "job.tape: must be 'class-1'"),
    ('seen_from = "outside"', 'seen_from = "back"', "job.seen_from: must be 'outside' or 'inside'"),
    ("2026-05-04", '"2026-05-04"', "job.measured_on: must be a date without quotes"),
    ("2026-05-04", "2026-05-04T08:00:00", "job.measured_on: must be a date without quotes"),
    (
        "2026-05-11",
        "2026-05-03",
        "visit[0].on: 2026-05-03 is before the readings that it replaces (2026-05-04)",
    ),
    ('id = "harbor-114"', "id = 114", "job.id: must be text in quotes; found 114"),
    ('id = "harbor-114"', 'id = ""', "job.id: '' is not a name"),
    ('id = "harbor-114"', 'id = "a\\nb"', "job.id: 'a\\nb' is not a name"),
    ('measured_by = "crew 2"', f'measured_by = "{200_000 * "x"}"', "job.measured_by: 'xxxx"),
    ('measured_by = "crew 2"', f'measured_by = "{101 * "x"}"', "is no name: at most 100 characters; found 101"),
    ('by = "crew 5"', f'by = "{101 * "x"}"', "visit[0].by: 'xxxx"),
    ('label = "W1"', "", 'opening[0].label: is missing: say label = "W1"'),
    ('label = "W1"', 'label = "W1"\nsite = 3', '"W1".site: unknown key; did you mean'),
    ('label = "W1"', 'label = "W1"\nzzzzz = 3', '"W1".zzzzz: unknown key; known here: check_bar, clearances'),
    ('label = "W1"', 'label = "W1"\n"<text>" = 3', "unknown key"),
    ("quantity = 1", "quantity = 0", "quantity: must be at least 1; found 0"),
    ('photos = ["w1-a.jpg"', "photos = [3", "photos[0]: must be text in quotes; found 3"),
    (
        'file = "w1-b.jpg"',
        'file = "w1-b.jpg", turn = 45',
        "photos[1].turn: must be 0, 90, 180 or 270; found 45",
    ),
    ('file = "w1-b.jpg"', 'file = "w1-b.jpg", click_px = nan', "photos[1].click_px: must be a finite number"),
    ('file = "w1-b.jpg"', 'file = "w1-b.jpg", trace = 1', "photos[1].trace: must be true or false; found 1"),
    ('file = "w1-b.jpg"', 'fle = "w1-b.jpg"', "photos[1].fle: unknown key; did you mean 'file'?"),
    ("[820, 2398]", "[820]", "photos[1].corners: '[820]' is not a point"),
    ("[820, 2398]", "[820, nan]", "photos[1].corners: 'nan' is not a pixel coordinate"),
    ("[820, 2398]", "[820, true]", "photos[1].corners: 'True' is not a pixel coordinate"),
    ("[[812, 640], [3120, 655], [3105, 2410], [820, 2398]]", "3", "photos[1].corners: not a list of points"),
    ("[[opening]]", "[opening]", "opening: must be a list of tables: write [[opening]] in double brackets"),
    ('note = ""', 'documents = [{ file = "a", kind = "fax" }]', "documents[0].kind: must be 'field-sheet'"),
    ('note = ""', "extra = 3", "extra: must be a table; found 3"),
    (
        'note = ""',
        'obstacles = [{ what = "a", photo = "x.jpg", box = [1, 2, 3, 4] }]',
        "none of the opening's photos",
    ),
    ('note = ""', 'obstacles = [{ what = "a", photo = "w1-a.jpg" }]', "obstacles[0]: give box"),
    (
        'note = ""',
        'obstacles = [{ what = "a", photo = "w1-a.jpg", polygon = [[1, 2]] }]',
        "at least 3 points",
    ),
    ('note = ""', 'obstacles = [{ what = "a", photo = "w1-a.jpg", box = [1, 2] }]', "obstacles[0].box: not a box"),
    (
        'note = ""',
        'obstacles = [{ what = "a", photo = "w1-a.jpg", box = [-1e300, 0, 1, 1] }]',
        "obstacles[0].box: '-1e+300' is not a pixel coordinate",
    ),
]


@pytest.mark.parametrize(("old", "new", "says"), SLIPS, ids=range(len(SLIPS)))
def test_one_slip_gives_one_line_with_key_and_remedy(refused, old, new, says):
    text = changed((old, new))
    if new == "[opening]":
        text = text.replace("[[opening.visit]]", "[opening.visit]")
    said = refused(text)
    assert len([one for one in said if says in one]) == 1, said


def test_a_reading_scant_of_nothing_is_found_with_its_own_graduation(refused):
    text = changed(('top = "54 3/8"', 'top = "1/64 scant"'), ('graduation = "1/16"', 'graduation = "1/2"'))
    assert refused(text) == ["job.toml: opening[0] \"W1\".width.top: '1/64 scant' is negative: a length is 0 or more"]


def test_a_toml_error_names_its_line(refused):
    said = refused(changed(('top = "54 3/8"', "top = 54 3/8")), "job-not-toml")
    line = EXAMPLE[: EXAMPLE.index('top = "54')].count("\n") + 1
    assert said[0].startswith(f"job.toml: line {line}: not TOML: ")
    assert "stand in quotes" in said[0]


NO_JOBS = [
    ("x = ", "job-not-toml", "line 1: not TOML"),
    ("a = 1\na = 2", "job-not-toml", "line 2: not TOML: Cannot overwrite a value"),
    ("a = " + "[" * 20_000, "job-not-toml", "brackets too deep"),
    (
        "[job]\nid='a'\nunits='in'\n[[opening]]\nlabel='W1'\nwall='render'\n[job.extra]\n" + "a." * 900 + "a = 1",
        "job-not-toml",
        "a key of more than 50 parts",
    ),
    ("a = " + "9" * 5000, "job-not-toml", "a number too long"),
    ("measured_on = 2026-13-40", "job-not-toml", "line 1: not TOML"),
    (b"[job]\nid = '\xff'", "job-not-text", "line 2: not UTF-8 text"),
    (b"\xff\xd8\xff\xe0" * 10, "job-not-text", "line 1: not UTF-8 text"),
    ("#" * 1_000_001, "job-too-large", "over 1 MB"),
    ("", "job-invalid", "job: is missing"),
    ("[job]\nid='a'\nunits='in'\n", "job-invalid", "opening: is missing: at least one [[opening]]"),
    (
        "opening = []\n[job]\nid='a'\nunits='in'\n",
        "job-invalid",
        "opening: is missing: at least one [[opening]]",
    ),
    ("job = 3\nopening = 4", "job-invalid", "job: must be a table; found 3"),
    ("opening = [3, 4]\n[job]\nid='a'\nunits='in'\n", "job-invalid", "opening[1]: must be a table; found 4"),
]


@pytest.mark.parametrize(("text", "code", "says"), NO_JOBS, ids=range(len(NO_JOBS)))
def test_a_file_that_is_no_job_is_said_in_one_line(load, text, code, says):
    with pytest.raises(InputError) as refusal:
        load(text)
    assert refusal.value.code == code
    assert any(says in str(problem) for problem in refusal.value.problems)


def test_limits_of_200_openings_and_12_photos(refused, load):
    head = "[job]\nid = 'a'\nunits = 'in'\n"
    openings = [f"[[opening]]\nlabel = '{i}'\nwall = 'render'\n" for i in range(201)]
    assert len(load(head + "".join(openings[:200])).openings) == 200
    assert refused(head + "".join(openings)) == ["job.toml: opening: at most 200 openings in a job; found 201"]
    photos = f"photos = {['w1-a.jpg'] * 13}"
    assert refused(head + openings[0] + photos) == [
        'job.toml: opening[0] "0".photos: at most 12 photos of an opening; found 13'
    ]


@pytest.mark.parametrize(
    ("key", "one"),
    [
        ("obstacles", '{ what = "a", photo = "w1-a.jpg", box = [1, 2, 3, 4] }'),
        ("documents", '{ file = "gone.pdf", kind = "order" }'),
    ],
)
def test_more_obstacles_or_documents_than_any_opening_has_are_one_line(refused, load, key, one):
    """Found: 2000 obstacles took minutes, 1000 documents that are not there gave as many lines."""
    assert load(changed(('note = ""', f"{key} = [{', '.join([one] * 50)}]")))
    assert refused(changed(('note = ""', f"{key} = [{', '.join([one] * 51)}]"))) == [
        f'job.toml: opening[0] "W1".{key}: at most 50 {key} of an opening; found 51'
    ]


@pytest.mark.parametrize("name", ["gone", "empty", "empty/job.toml", "pipe", "loop", "a\0b", "n" * 300], ids=range(7))
def test_a_job_that_is_not_there_is_said_in_one_line(tmp_path, name):
    (tmp_path / "empty").mkdir()
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "loop").symlink_to("loop")
    with pytest.raises(InputError) as refusal:
        load_job(tmp_path / name)
    assert refusal.value.code == "job-missing"
    assert len(refusal.value.problems) == 1


def test_a_byte_order_mark_and_dos_line_ends_are_read(load):
    assert load(b"\xef\xbb\xbf" + EXAMPLE.replace("\n", "\r\n").encode()).id == "harbor-114"


_SLOW = [HealthCheck.function_scoped_fixture, HealthCheck.too_slow]
_WORDS = ["nan", "in", "W1", "1/4", "sheet"]
_INNER = ["label", "value", "u", "file", "corners", "width", "top", "head", "across", "x"]
_KEYS = [
    "label",
    "wall",
    "photos",
    "reference",
    "check_bar",
    "edge_offset",
    "width",
    "visit",
    "obstacles",
    "note",
]
_VALUES = st.recursive(
    st.one_of(st.text(max_size=8), st.integers(-5, 400), st.booleans(), st.sampled_from(_WORDS)),
    lambda inner: st.one_of(st.lists(inner, max_size=4), st.dictionaries(st.sampled_from(_INNER), inner, max_size=3)),
    max_leaves=6,
)


def as_toml(value):
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key} = {as_toml(one)}" for key, one in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(as_toml(one) for one in value) + "]"
    if isinstance(value, str):
        return '"' + "".join(f"\\U{ord(c):08x}" for c in value) + '"'
    return str(value)


@settings(
    max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow]
)
@given(st.dictionaries(st.sampled_from(_KEYS), _VALUES, max_size=5))
def test_any_table_of_an_opening_is_a_job_or_refused(tmp_path, table):
    lines = [f"{key} = {as_toml(value)}" for key, value in table.items()]
    file = tmp_path / "any.toml"
    file.write_text("[job]\nid = 'a'\nunits = 'in'\n[[opening]]\n" + "\n".join(lines), encoding="utf-8")
    try:
        said = [load_job(file).id]
    except SizingError as error:
        said = [str(problem) for problem in error.problems]
    assert said
    assert not any("\n" in one for one in said)


@settings(
    max_examples=100, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow]
)
@given(st.data())
def test_a_damaged_job_file_is_a_job_or_refused(tmp_path, data):
    damaged = bytearray(EXAMPLE.encode())
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(damaged) - 1))
        damaged[at : at + data.draw(st.integers(0, 3))] = data.draw(st.binary(max_size=3))
    file = tmp_path / "damaged.toml"
    file.write_bytes(bytes(damaged))
    try:
        load_job(file)
    except InputError as error:
        problems = error.problems
    else:
        problems = ("none",)
    assert len(problems) > 0


def test_an_inch_mark_inside_quotes_is_told_how_to_be_written(tmp_path):
    # TOML 1.0: a quotation mark ends a basic string; within '''...''' both marks may stand.
    (tmp_path / "job.toml").write_text('[job]\nid = "a"\nnote = "4\' 6 3/8""\n', encoding="utf-8")
    with pytest.raises(InputError) as caught:
        load_job(tmp_path)
    assert "line 3: not TOML" in str(caught.value)
    assert "an inch mark inside quotes ends them" in str(caught.value)


def test_a_folder_of_job_folders_says_how_they_are_all_named(tmp_path):
    """What an office keeps its jobs in is named once by mistake. Common practice, no source."""
    for name in ("a", "b"):
        (tmp_path / name).mkdir()
        (tmp_path / name / "job.toml").write_text(EXAMPLE)
    says = f"it holds 2 folders that do: name them one by one, or all as {tmp_path / '*' / 'job.toml'}"
    with pytest.raises(InputError) as caught:
        load_job(tmp_path)
    assert says in str(caught.value)
    assert says in str(check_job(tmp_path).error)
    (tmp_path / "none").mkdir()
    with pytest.raises(InputError) as caught:
        load_job(tmp_path / "none")
    assert str(caught.value).endswith("or a folder that holds job.toml")
