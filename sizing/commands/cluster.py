"""The option `check --cluster`: jobs done by the workers of a cluster (dask.distributed) that share their folders."""

from __future__ import annotations

import logging
import platform
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import Executor
from contextlib import chdir, contextmanager
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from sizing.commands.at_once import Place
from sizing.commands.checking import Checked, CheckOptions, checked
from sizing.commands.streams import refuse
from sizing.errors import NotDoneError
from sizing.messages import at_once as words
from sizing.versions import program_version

if TYPE_CHECKING:
    from distributed import Client

# A scheduler in reach answers within a second; guess of how long to wait for one that is busy.
_ANSWER_S = 10
# Guess: so long nobody minds that nothing is said of workers that are gone.
_ASK_S = 5.0
# A worker with several threads does one check at a time: the working folder is the process's.
_ONE = threading.Lock()


def there(address: str, jobs: int, at_once: int | None) -> Place:
    """Return the cluster of that scheduler as where so many jobs are done; all are handed over where nothing is typed.

    Raises
    ------
    typer.Exit
        It cannot be used: one line said why, with status 2.
    """
    client = _connected(address)
    return Place(
        partial(_opened, client),
        partial(checked_there, str(Path.cwd())),
        jobs if at_once is None else at_once,
        workers_watched(client, address),
    )


def workers_watched(client: Client, address: str) -> Callable[[], str | None]:
    """Return what says, once each time, that a cluster has lost its last worker: jobs wait there for another."""
    asked, missing = time.monotonic(), False

    def news() -> str | None:
        nonlocal asked, missing
        if time.monotonic() - asked < _ASK_S:
            return None
        asked = time.monotonic()
        none_before, missing = missing, not client.scheduler_info(n_workers=0)["n_workers"]
        return words.workers_gone(address) if missing and not none_before else None

    return news


def checked_there(folder: str, job: Path, options: CheckOptions) -> Checked:
    """Return one job as checked by a worker, in the folder that the command was given in."""
    with _ONE:
        if not Path(folder).is_dir():
            raise NotDoneError(words.folder_missing(folder, platform.node()))
        with chdir(folder):
            return checked(job, options)


def _connected(address: str) -> Client:
    try:
        from distributed import Client
        from distributed.comm.addressing import get_address_host_port
        from distributed.security import Security
    except ImportError:
        raise _refused(words.no_cluster_extra()) from None
    for name in ("distributed", "distributed.client", "tornado.application"):  # each has a level of its own
        logging.getLogger(name).setLevel(logging.CRITICAL)  # what they would say is said here, in one line
    try:
        get_address_host_port(address)  # on this and the next a client would fail with a trace at its end
        if address.startswith("tls:") and Security().get_connection_args("client")["ssl_context"] is None:
            raise ValueError("TLS needs certificates in dask's configuration")  # noqa: TRY301
        client = Client(address, timeout=_ANSWER_S, set_as_default=False)
        problem = _problem(client, address)
    except (OSError, ValueError) as error:  # a time-out is an OSError
        raise _refused(words.cluster_unreachable(address, str(error) or type(error).__name__)) from None
    if problem:
        client.close()
        raise _refused(problem)
    return client


def _problem(client: Client, address: str) -> str | None:
    """Return what keeps the workers of a cluster from doing the same as this process."""
    found: dict[str, Any] = client.run(_version, on_error="return")
    if not found:
        return words.no_workers(address)
    ours = program_version()
    others = sorted({answer if isinstance(answer, str) else "none" for answer in found.values()} - {ours})
    return words.other_workers(address, ours, others) if others else None


def _version() -> str:
    return program_version()


def _refused(line: str) -> typer.Exit:
    return typer.Exit(refuse(line))


@contextmanager
def _opened(client: Client) -> Iterator[Executor]:
    # Not `pure`: the same words may find another photo the next time.
    executor = client.get_executor(pure=False)
    try:
        yield executor
    finally:
        executor.shutdown(wait=False)
        client.close()
