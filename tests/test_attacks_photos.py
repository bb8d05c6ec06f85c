"""Facts about a fault in one photo of several, and an interrupt while photos are in work.

Oracle: contract.md, *Commands*: one bad photo never stops the others; interrupted: 130.
"""

import functools
import os
import signal
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import vision.estimate
from sizing.exits import Exit
from tests.views import camera_at, photo_of
from vision.estimate import estimate_opening
from vision.request import Estimate, OpeningRequest, PhotoRequest

ROOT = Path(__file__).parent.parent
A, B = ("sheet A", -850.0, 30.0, 0.01), ("sheet B", 860.0, -40.0, -0.02)
PLACES = (camera_at(-900, -200, 2300), camera_at(1000, 150, 2500), camera_at(50, 400, 2700))
REQUEST = OpeningRequest(tuple(PhotoRequest(Path(f"{i}.jpg")) for i in range(3)), "panel")


def traced(photo):
    i = int(photo.path.stem)
    return photo_of(PLACES[i], [A, B], np.random.default_rng(i), name=photo.path)


def estimated(bad=None):
    def tracer(_request, photo):
        if photo.path.name == bad:
            raise np.linalg.LinAlgError("Singular\nmatrix")
        return traced(photo)

    return estimate_opening(REQUEST, tracer=tracer)


def assert_only_the_second_failed(answer):
    assert isinstance(answer, Estimate)
    assert answer.values_mm[:3] == pytest.approx([1200.0] * 3, abs=3)
    assert [None if p.error is None else p.error.code for p in answer.photos] == [None, "fault", None]
    assert "1.jpg" in answer.photos[1].error.message
    assert answer.photos[1].error.message.isprintable()


def test_a_fault_in_tracing_one_photo_of_three_leaves_the_other_two():
    assert_only_the_second_failed(estimated("1.jpg"))


def test_a_fault_in_measuring_one_photo_of_three_leaves_the_other_two(monkeypatch):
    real = vision.estimate.measure_traced

    def fails(request, photo):
        if photo.report.path.name == "1.jpg":
            raise FloatingPointError
        return real(request, photo)

    monkeypatch.setattr(vision.estimate, "measure_traced", fails)
    assert_only_the_second_failed(estimated())


def test_a_fault_in_joining_photos_is_warned_of_and_the_surest_counts(monkeypatch):
    def fails(*_):
        raise np.linalg.LinAlgError

    monkeypatch.setattr(vision.estimate, "measure_together", fails)
    answer = estimated()
    assert isinstance(answer, Estimate)
    assert [w.code for w in answer.warnings] == ["photos-disagree"]
    assert "LinAlgError" in answer.warnings[0].message


def test_a_fault_in_every_photo_is_no_estimate_and_no_exception():
    def fails(*_):
        raise MemoryError

    answer = estimate_opening(REQUEST, tracer=fails)
    assert (answer.code, len(answer.photos)) == ("fault", 3)


def test_three_photos_in_threads_give_the_same_to_the_last_digit():
    one, two = estimated(), estimated()
    assert np.array_equal(one.values_mm, two.values_mm)
    assert np.array_equal(one.cov_mm2, two.cov_mm2)
    assert [p.path for p in one.photos] == [p.path for p in REQUEST.photos]


def test_one_photo_listed_three_times_knows_no_more_than_once():
    def tracer(_request, photo):
        seen = photo_of(PLACES[0], [A, B], np.random.default_rng(0), name=photo.path)
        return replace(seen, report=replace(seen.report, sha256="5e"))

    once = estimate_opening(replace(REQUEST, photos=REQUEST.photos[:1]), tracer=tracer)
    thrice = estimate_opening(REQUEST, tracer=tracer)
    assert np.array_equal(once.cov_mm2, thrice.cov_mm2)
    assert len(thrice.photos) == 3


LONG = """
import sys, time
from pathlib import Path
import vision.estimate as e
from sizing import cli
from vision.request import OpeningRequest, PhotoRequest

def work(*_):
    print("begun", flush=True)
    time.sleep(600)

def run():
    try:
        e.estimate_opening(OpeningRequest(tuple(PhotoRequest(Path(str(i))) for i in range(6))), tracer=work)
    except KeyboardInterrupt:
        return 130

cli.run = run
cli.main()
"""


@pytest.mark.skipif(os.name != "posix", reason="signals as shells send them")
def test_an_interrupt_does_not_wait_for_the_photos_in_work():
    heard = functools.partial(signal.signal, signal.SIGINT, signal.SIG_DFL)  # a suite run with & ignores it
    words = [sys.executable, "-c", LONG]
    with subprocess.Popen(words, stdout=subprocess.PIPE, cwd=ROOT, preexec_fn=heard) as process:  # noqa: PLW1509
        process.stdout.readline()
        process.send_signal(signal.SIGINT)
        try:
            process.communicate(timeout=60)  # a tenth of what a photo takes; alone it is a second
        finally:
            process.kill()
    assert process.returncode == Exit.INTERRUPTED
