"""Words for many jobs checked at once: where they are, what came between, where to go on."""

from __future__ import annotations

from collections.abc import Sequence

from sizing.messages.one_line import one_line


def in_work(done: int, total: int, names: Sequence[str]) -> str:
    """Say how many of the jobs are done and which are in work.

    Examples
    --------
    >>> in_work(3, 16, ["harbor-114", "harbor-115"])
    '3 of 16 jobs done; in work: harbor-114, harbor-115'
    """
    return f"{done} of {total} jobs done; in work: {now(names) or 'none'}"


def now(names: Sequence[str]) -> str:
    """Return the names of what is in work, the first ones of many.

    Examples
    --------
    >>> now(["a", "b", "c", "d", "e"])
    'a, b, c and 2 more'
    """
    shown = ", ".join(one_line(name) for name in names[:3])
    return f"{shown} and {len(names) - 3} more" if len(names) > 3 else shown


def interrupted(done: int, total: int, following: str) -> str:
    """Say how far it came, and where to go on.

    Examples
    --------
    >>> interrupted(3, 16, "jobs/harbor-114")
    '3 of 16 jobs are done, in the order typed. Not done: jobs/harbor-114 and all after it; check again from there on.'
    """
    rest = f"{one_line(following)} and all after it" if total - done > 1 else one_line(following)
    return f"{done} of {total} jobs are done, in the order typed. Not done: {rest}; check again from there on."


def process_died() -> str:
    """Say that the process which checked a job came to its end, with what to do."""
    return (
        "the process that checked this job came to its end (memory may have run out); "
        "check the job again alone, or with a smaller --at-once"
    )


def cluster_lost() -> str:
    """Say that a job was given up by the cluster, with what to do."""
    return "the cluster gave this job up; see that its scheduler and workers run, and check the job again"


def folder_missing(folder: str, machine: str) -> str:
    """Say that a worker does not see the folder that the command was given in."""
    return (
        f"the worker on {one_line(machine)} does not find {one_line(folder)}; "
        "every worker must reach the jobs under the same path"
    )


def no_cluster_extra() -> str:
    """Say what --cluster needs."""
    return "--cluster: dask.distributed is not installed; install it with `pip install 'secondtape[cluster]'`."


def cluster_unreachable(address: str, why: str) -> str:
    """Say that no scheduler answers, with what to do."""
    return (
        f"--cluster: no scheduler answers at {one_line(address)} ({one_line(why)}); start one with `dask scheduler` "
        "and give the address that it prints, such as tcp://10.0.0.5:8786."
    )


def no_workers(address: str) -> str:
    """Say that a cluster has no workers, with what to do."""
    return f"--cluster: {one_line(address)} has no workers; start some with `dask worker {one_line(address)}`."


def workers_gone(address: str) -> str:
    """Say that jobs wait on a cluster whose workers are all gone, with what to do."""
    return (
        f"--cluster: {one_line(address)} has no workers left, and the jobs wait for one; start one with "
        f"`dask worker {one_line(address)}`, or interrupt this."
    )


def other_workers(address: str, ours: str, theirs: Sequence[str]) -> str:
    """Say that workers of a cluster have another version of this program, or none."""
    found = ", ".join(one_line(version) for version in theirs)
    return (
        f"--cluster: workers of {one_line(address)} have secondtape {found}, and this is {one_line(ours)}; "
        "install the same version on all."
    )
