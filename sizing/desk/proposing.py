"""Proposals of photos for openings on the page of a job; those by fit are worked out in the child, on request."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sizing.desk.desk import Desk
from sizing.desk.running import kept_photos
from sizing.desk.worker import Say
from sizing.jobs.job import Opening, PhotoEntry, opening_request, photo_request
from vision.request import Estimate, NotMeasured, OpeningRequest, PhotoRequest

if TYPE_CHECKING:
    from sizing.desk.intake_photos import PhotoFile
    from sizing.desk.intake_view import JobView

PROPOSE = "propose"
# More photos than that are more than a person waits for; the rest are proposed by time.
MOST_PHOTOS = 40
# So many walls and depths of edges a photo is measured by; openings of one house have few.
MOST_SCENES = 4
LEAST_READINGS = 3  # as in sizing.crosscheck.assignment, which is heavy to import


@dataclass(frozen=True, slots=True)
class Shown:
    """What is said of one photo: words, and the opening proposed, empty where none is."""

    photo: str
    label: str
    says: str


def proposals_shown(desk: Desk, name: str, view: JobView, photos: Sequence[PhotoFile]) -> dict[str, list[Shown]]:
    """Return what is said of each photo: how it fits, as last worked out, and by time where no opening has it."""
    from sizing.intake.proposals import Taken, by_time
    from sizing.messages import intake as words

    labels = [o.label for o in view.openings]
    found: dict[str, list[Shown]] = {photo.name: [] for photo in photos}
    openings = () if view.job is None else view.job.openings
    for photo, label, says in _last_said(desk, name, desk.folder.job(name), openings):
        if photo in found and label in ("", *labels):
            found[photo].append(Shown(photo, label, says))
    taken = [Taken(p.name, p.taken if p.by_camera else None) for p in photos]
    for proposal in by_time(taken, {p.name: view.used(p.name) for p in photos}, labels):
        says = words.proposed_by_time(proposal.label, proposal.beside, proposal.gap_s)
        found[proposal.photo].append(Shown(proposal.photo, proposal.label, says))
    return {photo: some for photo, some in found.items() if some}


def _last_said(desk: Desk, name: str, folder: Path, openings: Sequence[Opening]) -> list[tuple[str, str, str]]:
    """Return what was said of each photo last; it holds while all that it was said of is as it was."""
    said: dict[tuple[str, str], tuple[str, str, str]] = {}
    for run in desk.runs.ended(name, PROPOSE):
        for known in {photo for photo, _, _ in run.answer["compared"]}:
            said = {key: line for key, line in said.items() if key[0] != known}
        for photo, label, says in run.answer["compared"]:
            said[photo, label] = photo, label, says
            if run.answer["said_of"][photo, label] != _said_of(folder, photo, label, openings):
                del said[photo, label]
    return list(said.values())


def _said_of(folder: Path, photo: str, label: str, openings: Sequence[Opening]) -> Hashable:
    """Return what a line about a photo rests on: the file, where it was pointed at, and readings and scene.

    A line that proposes an opening rests on that one, all others on all openings.
    """
    from vision.kept.value_key import value_key

    mine = [(o.label, p) for o in openings for p in o.photos if p.file == photo]
    pointed = tuple((owner, value_key(replace(photo_request(p), path=Path(p.file)))) for owner, p in mine)
    # words of the job and what is ordered do not bear on how a photo fits
    compared = [
        replace(o, photos=(), note="", documents=(), ordered=None, delivered=None, rule=None, quantity=1, extra={})
        for o in openings
        if label in ("", o.label)
    ]
    try:
        found = (folder / photo).stat()
        file = found.st_mtime_ns, found.st_size
    except OSError:
        file = 0, 0
    return file, pointed, value_key(compared)


def compare_pointed(desk: Desk, name: str, file: str) -> str:
    """Have a photo that was pointed at compared with the readings; return the id of the run.

    It was measured with the check before: of that nothing is done again.
    """
    return desk.runs.start(name, PROPOSE, propose_task, desk.folder.job(name), (), file)


def fit_said(desk: Desk, name: str, file: str, openings: Sequence[Opening]) -> list[str]:
    """Return what the last comparison said of a photo that an opening has."""
    return [says for photo, _, says in _last_said(desk, name, desk.folder.job(name), openings) if photo == file]


def comparison(openings: Sequence[Opening]) -> dict[str, Any]:
    """Return whether photos can be compared with readings yet, and in words with which or what is missing."""
    from sizing.messages.intake import readings_to_compare

    labels = [o.label for o in openings if len(o.readings) >= LEAST_READINGS]
    return {"comparable": bool(labels), "compares": readings_to_compare(labels, LEAST_READINGS)}


def propose_task(folder: Path, photos: tuple[str, ...], only: str = "", *, say: Say) -> dict[str, Any]:
    """Return `compared`, (photo, label or nothing, words) for each photo, and what each is `said_of`; in the child.

    Those that no opening has may be proposed for one. Those with corners, which somebody pointed at, are said to fit
    their own opening, another or none; all of them, or `only` one.
    """
    import cv2

    from sizing.jobs.file import load_job

    cv2.setNumThreads(1)
    openings = load_job(folder).openings
    pointed = [(o, p) for o in openings for p in o.photos if p.corners_px is not None and p.error is None]
    pointed = [(o, p) for o, p in pointed if only in ("", p.file)]
    found: list[tuple[str, str, str]] = []
    for number, photo in enumerate(photos, 1):
        say(f"{photo} ({number} of {len(photos) + len(pointed)})")
        found += _free(folder, photo, openings)
    for number, (opening, entry) in enumerate(pointed[: MOST_PHOTOS - len(photos)], len(photos) + 1):
        say(f"{entry.file} ({number} of {len(photos) + len(pointed)})")
        found += _pointed(opening, entry, openings)
    said_of = {(photo, label): _said_of(folder, photo, label, openings) for photo, label, _ in found}
    return {"compared": found, "said_of": said_of}


def _free(folder: Path, photo: str, openings: Sequence[Opening]) -> list[tuple[str, str, str]]:
    """Return what is proposed for a photo that no opening has, measured for each by its wall and depths of edges."""
    from sizing.intake.proposals import by_fit_of_each, twins_of_each
    from sizing.messages import intake as words
    from vision.errors import VisionError
    from vision.kept.value_key import value_key

    measured: list[tuple[Opening, Estimate]] = []
    seen: dict[Hashable, tuple[Estimate | NotMeasured, bool]] = {}
    for opening in openings:
        request = replace(opening_request(opening), photos=(PhotoRequest(folder / photo),))
        key = value_key(request)
        if key not in seen and len(seen) < MOST_SCENES:
            try:
                seen[key] = _measured(request)
            except VisionError as error:
                return [(photo, "", words.not_compared(str(error).replace(f"{folder}/", "")))]
        answer, _ = seen.get(key, (None, False))
        if isinstance(answer, Estimate):
            measured.append((opening, answer))
    rough = any(r for _, r in seen.values())
    if not measured:
        failed = next((a for a, _ in seen.values() if isinstance(a, NotMeasured)), None)
        if failed is None:
            return []
        why = words.not_compared(failed.why.replace(f"{folder}/", ""))
        unpointed = failed.code in ("corners-needed", "several-openings")
        return [(photo, "", f"{why}; {words.point_to_compare()}" if unpointed else why)]
    said = words.proposed_roughly if rough else words.proposed_by_fit
    fits = [(photo, p.label, said(p.label, p.probability or 0.0, p.off)) for p in by_fit_of_each(photo, measured)]
    alike = list(twins_of_each(photo, measured))
    none = f"{words.fits_none()}; {words.point_to_compare()}"
    return fits or [(photo, "", words.fits_several(alike) if alike else none)]


def _measured(request: OpeningRequest) -> tuple[Estimate | NotMeasured, bool]:
    """Return a photo measured by itself, else loosely by the outline that it shows, and whether the latter."""
    from sizing.intake.proposals import loosened

    answer = kept_photos().estimate(request)
    outline = answer.photos[0].corners_px if answer.photos else None
    if isinstance(answer, Estimate) or outline is None:
        return answer, False
    # typed sizes and an unconfirmed outline tell which opening it may be, and nothing else is made of them
    again = kept_photos().estimate(replace(request, photos=(replace(request.photos[0], corners_px=outline),)))
    return (loosened(again), True) if isinstance(again, Estimate) else (answer, False)


def _pointed(opening: Opening, entry: PhotoEntry, openings: Sequence[Opening]) -> list[tuple[str, str, str]]:
    """Return how well a photo fits the opening that it is given to, and which it fits better."""
    from sizing.intake.proposals import by_fit, comparable, twins
    from sizing.messages import intake as words

    request = replace(opening_request(opening), photos=(photo_request(entry),))
    answer = kept_photos().estimate(request)
    if not isinstance(answer, Estimate):
        return []  # the opening's page says why it could not be measured
    fits = by_fit(entry.file, answer, openings)
    alike = list(twins(entry.file, answer, openings))
    own = opening.label
    if fits and fits[0].label == own:
        return [(entry.file, "", words.fits_its_own(own, fits[0].probability or 0.0, fits[0].off))]
    if fits:
        return [(entry.file, "", words.fits_another(fits[0].label, own, fits[0].probability or 0.0, fits[0].off))]
    if alike:
        return [(entry.file, "", words.fits_several(alike))]
    return [(entry.file, "", words.fits_not_its_own(own))] if own in comparable(openings) else []
