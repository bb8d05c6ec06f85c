"""Proposals of photos for openings on the page of a job; those by fit are worked out in the child, on request."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from sizing.desk.worker import Say

if TYPE_CHECKING:
    from sizing.desk.app import Desk
    from sizing.desk.intake_photos import PhotoFile
    from sizing.desk.intake_view import JobView

PROPOSE = "propose"
# More photos than that are more than a person waits for; the rest are proposed by time.
MOST_PHOTOS = 40


@dataclass(frozen=True, slots=True)
class Shown:
    """What is said of one photo: words, and the opening proposed, empty where none is."""

    photo: str
    label: str
    says: str


def proposals_shown(desk: Desk, name: str, view: JobView, photos: Sequence[PhotoFile]) -> dict[str, list[Shown]]:
    """Return what is proposed for each photo that no opening has: by fit as last worked out, and by time."""
    from sizing.messages import intake as words
    from sizing.proposals import Taken, by_time

    free = {p.name for p in photos if not view.used(p.name)}
    labels = [o.label for o in view.openings]
    found: dict[str, list[Shown]] = {photo: [] for photo in free}
    for run in desk.runs.ended(name, PROPOSE)[-1:]:
        for photo, label, says in run.answer:
            if photo in free and label in ("", *labels):
                found[photo].append(Shown(photo, label, says))
    taken = [Taken(p.name, p.taken if p.by_camera else None) for p in photos]
    for proposal in by_time(taken, {p.name: view.used(p.name) for p in photos}, labels):
        says = words.proposed_by_time(proposal.label, proposal.beside, proposal.gap_s)
        found[proposal.photo].append(Shown(proposal.photo, proposal.label, says))
    return {photo: some for photo, some in found.items() if some}


def propose_task(folder: Path, photos: tuple[str, ...], *, say: Say) -> list[tuple[str, str, str]]:
    """Return (photo, label or nothing, words) for each photo: whose readings it fits; in the child."""
    import cv2

    from sizing.jobfile import load_job
    from sizing.messages import intake as words
    from sizing.proposals import by_fit, twins
    from vision.errors import VisionError
    from vision.estimate import estimate_opening
    from vision.request import Estimate, OpeningRequest, PhotoRequest

    cv2.setNumThreads(1)
    openings = load_job(folder).openings
    walls = {o.wall for o in openings}
    wall = openings[0].wall if len(walls) == 1 else "masonry"
    found: list[tuple[str, str, str]] = []
    for number, photo in enumerate(photos, 1):
        say(f"{photo} ({number} of {len(photos)})")
        try:
            answer = estimate_opening(OpeningRequest((PhotoRequest(folder / photo),), wall))
        except VisionError as error:
            found.append((photo, "", words.not_compared(str(error).replace(f"{folder}/", ""))))
            continue
        if not isinstance(answer, Estimate):
            found.append((photo, "", words.not_compared(answer.why.replace(f"{folder}/", ""))))
            continue
        fits = by_fit(photo, answer, openings)
        alike = list(twins(photo, answer, openings))
        found += [(photo, p.label, words.proposed_by_fit(p.label, p.probability or 0.0)) for p in fits]
        if not fits:
            found.append((photo, "", words.fits_several(alike) if alike else words.fits_none()))
    return found
