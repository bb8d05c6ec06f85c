"""What of a machine may be used. Oracles: proc(5), *MemAvailable*; cgroups version 2, *memory.max*; the environment."""

import os

import pytest

from sizing.machine import cores, memory_mb, one_blas_thread

MEMINFO = "MemTotal:       24105000 kB\nMemAvailable:    2000000 kB\n"  # of 1024 bytes


@pytest.mark.parametrize(
    ("meminfo", "limit", "mb"),
    [
        (MEMINFO, None, 2048),
        (MEMINFO, "max\n", 2048),
        (MEMINFO, "1500000000\n", 1500),
        ("MemTotal: 24105000 kB\n", None, None),
        (None, None, None),
        (None, "1500000000\n", 1500),
    ],
)
def test_memory_is_what_the_system_has_and_its_container_allows(tmp_path, meminfo, limit, mb):
    for name, text in (("meminfo", meminfo), ("limit", limit)):
        if text is not None:
            (tmp_path / name).write_text(text)
    assert memory_mb(tmp_path / "meminfo", tmp_path / "limit") == mb


def test_cores_are_those_that_this_process_may_use(monkeypatch):
    assert 1 <= cores() <= os.cpu_count()
    monkeypatch.delattr(os, "sched_getaffinity", raising=False)
    assert cores() == os.cpu_count()


def test_sums_are_added_in_one_thread_unless_somebody_chose_another_number(monkeypatch):
    monkeypatch.delenv("OPENBLAS_NUM_THREADS", raising=False)
    monkeypatch.setenv("OMP_NUM_THREADS", "4")
    one_blas_thread()
    assert (os.environ["OPENBLAS_NUM_THREADS"], os.environ["OMP_NUM_THREADS"]) == ("1", "4")
