"""What people decided about each opening of a job, and in which releases it is, for every page that lists them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sizing.decided import DecisionLog
from sizing.desk.decide_page import present_inputs
from sizing.desk.results import LastResult
from sizing.errors import InputError
from sizing.jobs.job import Job, Opening
from sizing.messages import decided as words
from sizing.release.decisions import read_decisions
from sizing.release.handover import earlier_releases
from sizing.release.release import handing_over
from sizing.runs.runfolder import FOLDER


@dataclass(frozen=True, slots=True)
class DecidedView:
    """One opening: the decision to show, in short, and the releases that it is in; empty where there is none.

    `choice` is that of a decision that stands, empty of a stale one; `step` what to do where it stops the opening.
    """

    says: str = ""
    choice: str = ""
    step: str = ""
    released: str = ""

    @property
    def stopped(self) -> bool:
        """Whether a decision that stands stops the opening."""
        return self.choice == "hold"


def decided_views(job: Job, last: LastResult | None, top: Path) -> Mapping[str, DecidedView]:
    """Return what was decided of each opening, by label.

    Parameters
    ----------
    job : as it is on disk.
    last : its last check, whose inputs a decision must have been taken on to stand.
    top : the desk's folder.

    Notes
    -----
    A file of decisions that cannot be read shows none here; the page of an opening says so.
    """
    try:
        log = read_decisions(job.folder)
    except InputError:
        log = DecisionLog(job.folder)
    releases = earlier_releases(job.folder / FOLDER, job.id)
    views = {}
    for opening in job.openings:
        found = None if last is None else last.opening(opening.label)
        now = _inputs(job, opening, found, top) if log.of(opening.label) else ""
        decision = log.shown(opening.label, now)
        released = words.released_in(handing_over(opening.label, releases))
        if decision is None:
            views[opening.label] = DecidedView(released=released)
            continue
        stale = not now or decision.stale(now)
        views[opening.label] = DecidedView(
            says=words.in_short(decision, stale=stale),
            choice="" if stale else decision.decision,
            step=words.stopped_step(decision.by) if decision.decision == "hold" and not stale else "",
            released=released,
        )
    return views


def _inputs(job: Job, opening: Opening, found: Mapping[str, Any] | None, top: Path) -> str:
    try:
        return present_inputs(job, opening, found, top)
    except (LookupError, TypeError, ValueError, AttributeError):  # a result that no check of ours wrote
        return ""
