"""The view for people: one line an opening, one a reading that needs attention, what to do next."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from pathlib import Path

import numpy as np

from sizing.decision import Judgement
from sizing.explaining.slips import NONE
from sizing.judging import ReadingResult
from sizing.messages import check_warnings, crosscheck, decided, decisions, slips, terminal_view, written_files
from sizing.messages import verdicts as messages
from sizing.messages.names import name_of
from sizing.messages.one_line import about_file, file_name, one_line, sentence
from sizing.messages.photo_figures import about
from sizing.messages.pointing import how_to_give
from sizing.messages.remeasure import in_view
from sizing.messages.tolerance import tolerance_line
from sizing.nextstep import step_of
from sizing.opening_lines import advice_line, all_warnings, opening_warnings, tolerance_words
from sizing.order_lines import caution_lines, estimate_order_lines, order_lines
from sizing.outcome import EstimateResult, JobResult, OpeningResult
from sizing.photoresults import PhotoResult
from sizing.remeasure import again, unexplained
from sizing.units import Unit
from vision.request import NINE, Estimate, NotMeasured, Warning_

_INDENT = "      "


def job_text(result: JobResult, saved: Path | None = None, *, pictures: bool = True) -> str:
    """Return a job as text for people; `saved` is the folder of the result and of `pictures`, if they were made."""
    lines = [terminal_view.job_heading(result.name, result.file)]
    if result.error is not None:
        lines.append("  " + terminal_view.job_unreadable([str(p) for p in result.error.problems]))
        return "\n".join([*lines, ""])
    units: Unit = result.job.units if result.job is not None else "in"
    width = max((len(one_line(o.opening.label)) for o in result.openings), default=0)
    for opening in result.openings:
        lines += _opening_lines(opening, units, width)
    if len(result.openings) > 1:
        lines.append("  " + messages.job_summary(Counter(o.verdict.verdict for o in result.openings)))
    lines += ["  " + crosscheck.common_part(test, units) for test in result.job_tests if test.found]
    lines += ["  " + line for line in _tolerance_lines(result.openings, units)]
    if saved is not None:
        lines.append("  " + written_files.written_to(saved, pictures=pictures))
    lines.append("  " + messages.CAUTION)
    lines += ["  " + line for line in caution_lines(opening.order for opening in result.openings)]
    return "\n".join([*lines, ""])


def complaints(result: JobResult, *, in_view: bool = False) -> list[str]:
    """Return the lines for stderr: what could not be read, with file, key and remedy.

    With `in_view` those that `job_text` says are left out.
    """
    if result.error is not None:
        return [one_line(str(problem)) for problem in result.error.problems]
    lines = [one_line(str(problem)) for problem in result.decision_problems]
    lines += _rule_complaints(result)
    for opening in result.openings:
        where = f"{result.file}: {one_line(opening.opening.label)}"
        lines += _photo_complaints(where, [p for p in opening.photos if p.unreadable or not in_view])
        for paper in opening.opening.documents:
            if paper.error is not None:
                lines.append(one_line(str(paper.error)))
        if opening.fault is not None:
            lines.append(one_line(f"{where}: {check_warnings.fault(repr(opening.fault))}"))
    return lines


def _rule_complaints(result: JobResult) -> list[str]:
    """Return what is wrong with sizing rules, a line for each cause with the openings that it stands in the way of."""
    labels: dict[str, list[str]] = {}
    for opening in result.openings:
        if opening.order is not None and opening.order.rule_error is not None:
            for problem in opening.order.rule_error.problems:
                labels.setdefault(one_line(str(problem)), []).append(one_line(opening.opening.label))
    return [f"{result.file}: {', '.join(named)}: {says}" for says, named in labels.items()]


def estimate_text(result: EstimateResult, units: Unit, saved: Path | None = None, *, pictures: bool = True) -> str:
    """Return an estimate as text for people; `saved` and `pictures` as for `job_text`."""
    answer = result.answer
    if isinstance(answer, NotMeasured):
        lines = [terminal_view.not_measured(_with_how(_why(result), answer, result.photos))]
    else:
        lines = [terminal_view.estimate_heading(answer.found_by), *_measure_lines(answer, units)]
    if isinstance(answer, Estimate):
        lines += [terminal_view.photo_unusable(line) for line in _photo_complaints("", result.photos)]
    lines += _warning_lines(all_warnings(answer.warnings, result.photos))
    if isinstance(answer, Estimate):
        lines += [*estimate_order_lines(result.order, units), terminal_view.estimate_note()]
    if saved is not None:
        lines.append(written_files.written_to(saved, pictures=pictures))
    return "\n".join(lines)


def estimate_complaints(result: EstimateResult, *, in_view: bool = False) -> list[str]:
    """Return the lines for stderr: photos that could not be read, and last why nothing was measured.

    With `in_view` what `estimate_text` says beside them, and as well, is left out.
    """
    lines = _photo_complaints("", result.photos)
    if in_view and (isinstance(result.answer, Estimate) or len(result.photos) == 1):
        return []
    if isinstance(result.answer, NotMeasured):
        why, told = _why(result), _with_how(_why(result), result.answer, result.photos)
        lines = [line.replace(why, told) for line in lines]
        if not any(why in line for line in lines):
            lines.append(told)
    return lines


def _with_how(why: str, answer: NotMeasured, photos: Sequence[PhotoResult], *, of_job: bool = False) -> str:
    """Return why nothing was measured, with how what it asks for is given: to `estimate`, or in a job file."""
    asking = next((i for i, p in enumerate(photos) if p.error is not None and p.error.code == answer.code), None)
    # The options of `estimate` are of its first photo.
    if asking is None or (asking > 0 and not of_job):
        return why
    how = how_to_give(answer.code, answer.why, file=photos[asking].file if of_job else "")
    return f"{why.removesuffix('.')}. {how}" if how else why


def _why(result: EstimateResult) -> str:
    """Return why an estimate came to nothing, empty where it did not; long names of files cut."""
    why = one_line(result.answer.why) if isinstance(result.answer, NotMeasured) else ""
    for photo in result.photos:
        why = about_file(why, photo.file)
    return why


def _tolerance_lines(results: Sequence[OpeningResult], units: Unit) -> list[str]:
    """Return the tolerances that a photo judged readings by, a line each with its openings where there are several."""
    labels: dict[str, list[str]] = {}
    for result in results:
        if any(_photo_figure(r.judgement) for r in result.readings):
            labels.setdefault(tolerance_words(result, units), []).append(result.opening.label)
    return [tolerance_line(says, named if len(labels) > 1 else ()) for says, named in labels.items()]


def _opening_lines(result: OpeningResult, units: Unit, width: int) -> list[str]:
    verdict = result.verdict
    label = one_line(result.opening.label)
    said = messages.verdict_of(verdict.verdict, bool(result.photos), verdict.why, readings=bool(result.readings))
    lines = [f"  {label:<{width}}  {said}"]
    warnings = opening_warnings(result)
    together = _together(result.readings, units)
    causes = set(together)
    for reading in result.readings:
        lines += [_INDENT + line for line in _reading_lines(reading, units, causes)]
    lines += [_INDENT + slips.unexplained(names, says) for says, names in together.items()]
    if verdict.why in ("readings-inconsistent", "readings-missing"):
        lines.append(_INDENT + messages.why_verdict(verdict.why, verdict.names, ""))
    unusable = [photo for photo in result.photos if photo.unreadable]
    if isinstance(result.answer, NotMeasured) and result.answer.code not in {p.error.code for p in unusable if p.error}:
        lines.append(_INDENT + _with_how(sentence(result.answer.why), result.answer, result.photos, of_job=True))
    lines += [_INDENT + terminal_view.photo_unusable(line) for line in _photo_complaints("", unusable)]
    lines += [_INDENT + line for line in order_lines(result.order, result.readings, units)]
    step = step_of(result)
    if step:
        lines.append(_INDENT + step)
    if result.advice is not None:
        lines.append(_INDENT + advice_line(result.advice, units))
    if verdict.verdict != "send":
        # Where the photo cannot tell, only what a slip that is likely asks for; the usual care says nothing new.
        told = [a.look_out for a in again(result.readings) if a.named or verdict.verdict == "hold"]
        tell = in_view(told)
        lines += [_INDENT + tell] if tell else []
    if result.decision is not None:
        stale = result.decision.stale(result.inputs_sha256)
        lines.append(_INDENT + decisions.decided(result.decision, stale=stale))
        if result.decision.decision == "hold" and not stale:
            lines.append(_INDENT + decided.stopped_step(result.decision.by))
    if verdict.verdict == "send":
        lines.append(_INDENT + _caught(result.readings, units))
    lines += [
        _INDENT + sentence(p.error.message)
        for p in result.photos
        if p.error and not p.unreadable and not isinstance(result.answer, NotMeasured)
    ]
    return lines + [_INDENT + line for line in _warning_lines(warnings)]


def _reading_lines(result: ReadingResult, units: Unit, causes: set[str]) -> list[str]:
    """Return the line of a reading that needs attention; nothing for one that agrees.

    `causes`: what was said of readings above, to which this one's is added, or is said of several below; none is said
    in full twice.
    """
    judged, name, written = result.judgement, result.reading.name, result.reading.length.as_written
    photo = _photo_figure(judged)
    if judged.verdict == "agrees" or (photo is None and judged.verdict == "unproven"):
        return []
    if judged.verdict == "differs" or photo is None:
        line = messages.reading_differs(name, judged.reading_mm, photo, units, written=written)
    else:
        slip_mm = judged.smallest_slip_mm
        line = messages.reading_unproven(
            name, judged.reading_mm, photo, units, sides=result.deciding, slip_mm=slip_mm, written=written
        )
    if result.likely:
        best = result.likely[0]
        # One size among others as likely is none to put forward.
        alone = len(result.likely) == 1 or best.probability > result.likely[1].probability
        corrected_mm = best.corrected_mm if alone else None
        cause = slips.slip_says(best.slip, best.shift_mm, None, best.facts, units)
        if cause in causes and best.slip == NONE:
            return [line]
        told = slips.probably(cause, best.probability, best.slip)
        if told in causes:
            return [f"{line} {slips.likewise(best.shift_mm, corrected_mm, units)}"]
        causes.add(told)
        says = slips.slip_says(best.slip, best.shift_mm, corrected_mm, best.facts, units)
        line += " " + slips.probably(says, best.probability, best.slip)
    return [line]


def _together(readings: Sequence[ReadingResult], units: Unit) -> dict[str, list[str]]:
    """Return what is said of several readings that no usual slip explains, with their names: it is said once."""
    found: dict[str, list[str]] = {}
    for result in readings:
        if unexplained(result):
            best = result.likely[0]
            says = slips.slip_says(best.slip, None, None, best.facts, units)
            found.setdefault(says, []).append(result.reading.name)
    return {says: names for says, names in found.items() if len(names) > 1}


def _photo_figure(judged: Judgement) -> tuple[float, float] | None:
    if judged.photo_mm is None or judged.U95_mm is None:
        return None
    return judged.photo_mm, judged.U95_mm


def _caught(readings: Iterable[ReadingResult], units: Unit) -> str:
    least = {r.reading.name: r.judgement.smallest_slip_mm for r in readings if r.judgement.verdict == "agrees"}
    found = {name: slip for name, slip in least.items() if slip is not None}
    sizes = [slip for name, slip in found.items() if not name.startswith("diagonal")]
    diagonals = [slip for name, slip in found.items() if name.startswith("diagonal")]
    return messages.would_have_stopped(max(sizes), units, diagonals_mm=max(diagonals, default=None))


def _measure_lines(answer: Estimate, units: Unit) -> list[str]:
    U95_mm = 2.0 * np.sqrt(np.maximum(np.diag(answer.cov_mm2), 0.0))
    figures = [(name, answer.values_mm[i], U95_mm[i]) for i, name in enumerate(NINE)]
    width = max(len(name_of(name)) for name, _, _ in figures)
    return [f"  {name_of(name):<{width}}  {about(float(v), float(U), units)}" for name, v, U in figures]


def _warning_lines(warnings: Iterable[Warning_]) -> list[str]:
    return [f"Note: {sentence(w.message)}" for w in warnings]


def _photo_complaints(where: str, photos: Iterable[PhotoResult]) -> list[str]:
    lead = f"{where}: " if where else ""
    lines = []
    for photo in photos:
        if photo.error is not None:
            file, says = file_name(photo.file), about_file(photo.error.message, photo.file)
            lines.append(lead + (says if file in says else f"{file}: {says}"))
    return lines
