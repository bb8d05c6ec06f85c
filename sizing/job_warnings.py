"""Warnings that need all openings of a job: one photo used twice, readings that fit another opening."""

from __future__ import annotations

from dataclasses import replace

from sizing.crosscheck.assignment import misplaced
from sizing.crosscheck.job_tests import CommonTest, job_tests
from sizing.outcome import OpeningResult
from sizing.photoresults import PhotoResult, same_file, same_place
from vision.request import Estimate, Warning_


def with_shared_photos(results: tuple[OpeningResult, ...]) -> tuple[OpeningResult, ...]:
    """Return the openings, warned (`same-photo`) where two rest on one place of a photo, or one twice on one photo."""
    from sizing.messages import check_warnings as messages

    # By opening and file: the labels of the openings that rest on the same place; none for the opening itself.
    found: list[dict[tuple[str, bool], list[str]]] = [{} for _ in results]
    seen: list[tuple[int, PhotoResult]] = []
    for i, result in enumerate(results):
        for photo in result.photos:
            if photo.report is None or not photo.sha256:
                continue
            for j, other in seen:
                if same_file(other, photo) and (i == j or same_place(other, photo)):
                    mine = found[i].setdefault((photo.file, i == j), [])
                    if i != j:
                        mine.append(results[j].opening.label)
                        found[j].setdefault((other.file, False), []).append(result.opening.label)
            seen.append((i, photo))
    return tuple(
        replace(
            r,
            shares_with=tuple(dict.fromkeys(label for labels in found[i].values() for label in labels)),
            warnings=(
                *r.warnings,
                *(
                    Warning_("same-photo", messages.same_photo(file, list(dict.fromkeys(labels))))
                    for (file, _), labels in found[i].items()
                ),
            ),
        )
        for i, r in enumerate(results)
    )


def with_misplaced(results: tuple[OpeningResult, ...]) -> tuple[tuple[OpeningResult, ...], tuple[CommonTest, ...]]:
    """Return the openings, warned (`another-opening`) where readings fit another's photo, and what all have in common.

    Openings with such a warning are left out of the tests of what is common.
    """
    from sizing.messages import crosscheck as messages

    entries = [(r.opening, r.answer, r.crosscheck) for r in results if isinstance(r.answer, Estimate)]
    moved = {m.label: m for m in misplaced(entries)}
    common = job_tests([entry for entry in entries if entry[0].label not in moved])
    says = {m.label: messages.another_opening(m.fits, exchanged=m.exchanged) for m in moved.values()}
    warned = tuple(
        replace(
            r,
            warnings=(*r.warnings, Warning_("another-opening", says[r.opening.label])),
            fits_photo_of=tuple(moved[r.opening.label].fits),
        )
        if r.opening.label in says
        else r
        for r in results
    )
    return warned, common
