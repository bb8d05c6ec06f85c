"""Job files for tests: the contract's example, a small one, and what comes of reading them."""

import os

import pytest

from sizing.errors import InputError
from sizing.jobs.file import load_job

# The contract's example, word for word (its comments left out).
EXAMPLE = """
[job]
id = "harbor-114"
units = "in"
measured_by = "crew 2"
measured_on = 2026-05-04
tape = "class-2"
graduation = "1/16"
seen_from = "outside"
tolerance = "1/4"

[[opening]]
label = "W1"
wall = "masonry"
photos = ["w1-a.jpg", { file = "w1-b.jpg", corners = [[812, 640], [3120, 655], [3105, 2410], [820, 2398]] }]
reference = "sheet"
check_bar = "149.5 mm"
edge_offset = "3/4"
sill_at = "front"
shape = "rectangle"
rule = "louvered-outside"
quantity = 1
note = ""
[opening.width]
top = "54 3/8"
middle = "54 1/4"
bottom = "54 3/8"
[opening.height]
left = "60"
middle = "60 1/8"
right = "60 1/8"
[opening.diagonal]
down = "81 1/4"
up = "81"
[[opening.visit]]
by = "crew 5"
on = 2026-05-11
width = { middle = "54 3/8" }
[opening.ordered]
width = "55 3/8"
height = "62 1/8"
[opening.delivered]
width = "55 3/8"
height = "61 1/8"
"""
SMALL = """
[job]
id = "quay-7"
units = "{units}"
{job}

[[opening]]
label = "W1"
wall = "masonry"
{opening}
"""


def job_folder(tmp_path):
    """Return a new folder with the files that the example names."""
    job = tmp_path / "job"
    job.mkdir()
    for name in ("w1-a.jpg", "w1-b.jpg", "paper.pdf", "phone.toml"):
        (job / name).write_bytes(b"x")
    return job


def load_from(folder, text, **options):
    """Return the job of a text written into the folder."""
    data = text if isinstance(text, bytes) else text.encode()
    (folder / "job.toml").write_bytes(data)
    return load_job(folder, **options)


def small_job(folder, opening="", job="", units="in", **options):
    """Return a job of one opening with these lines."""
    return load_from(folder, SMALL.format(units=units, job=job, opening=opening), **options)


def refused_by(folder, text, code="job-invalid"):
    """Return the problems for which a text is refused, without the folder."""
    with pytest.raises(InputError) as refusal:
        load_from(folder, text)
    assert refusal.value.code == code
    said = [str(problem).replace(f"{folder}{os.sep}", "") for problem in refusal.value.problems]
    assert all("\n" not in one and one.startswith("job.toml: ") for one in said)
    return said


def changed(*replacements):
    text = EXAMPLE
    for old, new in replacements:
        assert text.count(old) >= 1, old
        text = text.replace(old, new, 1)
    return text


def mm_by_name(readings):
    return {reading.name: reading.length.mm for reading in readings}
