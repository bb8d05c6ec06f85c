"""What of this machine may be used: threads, cores and memory."""

from __future__ import annotations

import os
from pathlib import Path

_MEMINFO = Path("/proc/meminfo")
_CGROUP = Path("/sys/fs/cgroup/memory.max")


def one_blas_thread() -> None:
    """Have NumPy and SciPy, not yet imported, add up in one thread, unless the environment says otherwise.

    Measured on two cores: a check of a 12 MP photo takes 1.9 s of work in place of 3.0 s, and no longer. The last
    digits of a sum hang on the number of threads: with one they are the same on machines of any number of cores.
    """
    for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"):
        os.environ.setdefault(name, "1")


def cores() -> int:
    """Return how many cores this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def memory_mb(meminfo: Path = _MEMINFO, cgroup: Path = _CGROUP) -> int | None:
    """Return the memory in MB that programs may still take, None where the system does not say.

    Parameters
    ----------
    meminfo, cgroup : Path
        What Linux says of its memory (proc(5)), and of a container's limit (cgroups version 2).
    """
    found = [mb for mb in (_available(meminfo), _limit(cgroup)) if mb is not None]
    return min(found, default=None)


def _available(meminfo: Path) -> int | None:
    try:
        (line,) = [line for line in meminfo.read_text().splitlines() if line.startswith("MemAvailable:")]
        return int(line.split()[1]) * 1024 // 1_000_000
    except (OSError, ValueError):
        return None


def _limit(cgroup: Path) -> int | None:
    try:
        return int(cgroup.read_text()) // 1_000_000  # the word `max` where there is none
    except (OSError, ValueError):
        return None
