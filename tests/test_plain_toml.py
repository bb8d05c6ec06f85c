"""TOML that would overrun stack or time. Oracle: TOML 1.0, what is a key and what a text; `tomllib` for sound files."""

from __future__ import annotations

import re
import time
import tomllib
from pathlib import Path

import pytest

from sizing.desk.listing import _job
from sizing.errors import InputError
from sizing.jobs.file import load_job
from sizing.orders.rulefile import load_rule, sample_files
from sizing.plain_toml import NestedTooDeepError, read_toml
from tests.jobfiles import EXAMPLE, job_folder, load_from

HUGE = "0x" + "f" * 4000  # 4817 decimal digits, more than Python prints
VALUE = re.compile(r'"[^"\n]*"|(?<=[=\[ ,])\d[\d.-]*|true|false')
FULL = EXAMPLE.replace(
    'note = ""',
    'note = ""\nobstacles = [{ what = "a", photo = "w1-a.jpg", box = [1, 2, 3, 4] },'
    ' { what = "b", photo = "w1-a.jpg", polygon = [[1, 2], [3, 4], [3, 9]] }]\n'
    'clearances = { above = 1 }\ndocuments = [{ file = "paper.pdf", kind = "order" }]\nextra = { a = 1 }',
).replace('file = "w1-b.jpg",', 'file = "w1-b.jpg", trace = true, click_px = 3, turn = 90, focal35 = 26,')
PLACES = [m.span() for m in VALUE.finditer(FULL)]


def lines_of(load):
    """Return what is said of a file that is refused; nothing where it is taken."""
    try:
        load()
    except InputError as error:
        return [str(problem) for problem in error.problems]
    return []


@pytest.mark.parametrize("value", [HUGE, f"[{HUGE}]", f"[[[{HUGE}]]]"], ids=["number", "list", "lists"])
def test_a_number_too_long_to_print_is_refused_in_short_lines_wherever_it_stands_in_a_job(tmp_path, value):
    folder = job_folder(tmp_path)
    assert len(load_from(folder, FULL).openings) == 1
    for begin, end in PLACES:
        text = FULL[:begin] + value + FULL[end:]
        assert all(len(line) < 500 for line in lines_of(lambda text=text: load_from(folder, text)))


def test_a_number_too_long_to_print_is_refused_in_short_lines_wherever_it_stands_in_a_rule(tmp_path):
    file = tmp_path / "r.toml"
    for data in sample_files().values():
        text = data.decode()
        for found in VALUE.finditer(text):
            file.write_text(text[: found.start()] + HUGE + text[found.end() :])
            assert all(len(line) < 500 for line in lines_of(lambda: load_rule(file)))


DEEP = {
    "dotted": "[job.extra]\n" + ".".join(["a"] * 500) + " = 1\n",
    "header": "[job.extra." + ".".join(['"a b"'] * 500) + "]\n",
    "inline": "[job]\nextra = { " + " . ".join(["a"] * 51) + " = 1 }\n",
    "many": "[job.extra]\n" + ".".join(["a"] * 50_000) + " = 1\n",
    "lists": "[job.extra]\na = " + "[" * 60 + "]" * 60 + "\n",
}


@pytest.mark.parametrize("text", DEEP.values(), ids=DEEP)
def test_tables_deeper_than_anyone_writes_are_one_clear_line_at_once(tmp_path, text):
    began = time.process_time()
    with pytest.raises(InputError, match=r"more than 50 (deep|parts)") as refused:
        load_from(job_folder(tmp_path), text)
    assert time.process_time() - began < 5.0  # five minutes, read by `tomllib`
    assert len(refused.value.problems) == 1
    (tmp_path / "r.toml").write_text(text)
    with pytest.raises(InputError, match=r"more than 50 (deep|parts)"):
        load_rule(tmp_path / "r.toml")


def test_a_key_of_too_many_parts_is_named_by_its_line():
    with pytest.raises(NestedTooDeepError, match="line 4: "):
        read_toml('a = """\n' + "b." * 60 + '\n"""\n' + ".".join("x" * 51) + " = 1")


@pytest.mark.parametrize(
    "text",
    [
        'note = "' + "1." * 99 + '"',
        "note = '" + "a.b" * 99 + "' # " + "a." * 99,
        'note = """\n' + "a." * 99 + '\\"""' + "b." * 99 + '"""',
        "note = '''\n" + "a." * 99 + "\n'''",
        "a = [" + "1.5, " * 99 + "]",
        "\n".join(f"a.b.k{i} = {i}.5" for i in range(99)),
        ".".join("a" * 45) + " = 1",
    ],
)
def test_points_in_texts_remarks_and_numbers_join_no_key(text):
    assert read_toml(text) == tomllib.loads(text)


@pytest.mark.parametrize("text", ['"\\' * 100_000, "a" * 900_000, "'''\n" * 100_001, "a" + " " * 900_000])
def test_what_is_never_closed_takes_no_time(text):
    began = time.process_time()
    with pytest.raises(tomllib.TOMLDecodeError):
        read_toml(text + "." * 60)
    assert time.process_time() - began < 5.0


def test_the_job_of_the_demo_is_read():
    assert load_job(Path(__file__).parent.parent / "fixtures" / "demo").openings


def test_the_list_of_jobs_is_not_kept_waiting_by_a_key_without_end(tmp_path):
    """Found: 50 000 parts took five minutes in `tomllib`. Clock of this process; common practice, no source: 5 s."""
    (tmp_path / "job.toml").write_text("[job]\n" + "a." * 50_000 + "a = 1\n", encoding="utf-8")
    began = time.process_time()
    listed = _job(tmp_path / "job.toml", 0, 0)
    assert time.process_time() - began < 5
    assert listed[1] == 0
