"""What checks and estimates give, as values: an opening, a job, photos alone."""

from __future__ import annotations

from dataclasses import dataclass

from sizing.crosscheck.consistency import CrossCheck
from sizing.crosscheck.job_tests import CommonTest
from sizing.decided import Decision, DecisionLog
from sizing.decision import OpeningVerdict, Verdict
from sizing.errors import InputError, Problem
from sizing.jobs.job import Job, Opening, Tolerance
from sizing.judging import ReadingResult
from sizing.orders.order import Order
from sizing.photoresults import PhotoResult
from sizing.remedy import Advice
from vision.request import Estimate, NotMeasured, OpeningRequest, Warning_


@dataclass(frozen=True, slots=True, eq=False)
class OpeningResult:
    """One opening: what the photo said, what it means for the readings, and the verdict.

    `fault` is a mistake of this program met on the way; the opening is then unproven. `document_sha256` is in
    the order of the opening's documents, empty where one cannot be read. `decision` is the one that people took
    on these inputs (`inputs_sha256`), else the last stale one; it never moves the verdict. `crosscheck` tests all
    readings together. `order` is there with a rule or an order. `shares_with` are the labels of openings whose photo
    shows the same place, `fits_photo_of` of those whose photo the readings fit far better.
    """

    opening: Opening
    answer: Estimate | NotMeasured
    photos: tuple[PhotoResult, ...]
    readings: tuple[ReadingResult, ...]
    verdict: OpeningVerdict
    tolerance: Tolerance
    warnings: tuple[Warning_, ...] = ()
    fault: Exception | None = None
    document_sha256: tuple[str, ...] = ()
    inputs_sha256: str = ""
    decision: Decision | None = None
    crosscheck: CrossCheck | None = None
    order: Order | None = None
    advice: Advice | None = None
    shares_with: tuple[str, ...] = ()
    fits_photo_of: tuple[str, ...] = ()

    @property
    def unreadable(self) -> bool:
        """Whether a photo of this opening could not be read."""
        return any(photo.unreadable for photo in self.photos)


@dataclass(frozen=True, slots=True, eq=False)
class JobResult:
    """One job: its openings with the job's verdict, or why it could not be read."""

    name: str
    file: str
    verdict: Verdict
    job: Job | None = None
    openings: tuple[OpeningResult, ...] = ()
    error: InputError | None = None
    decisions: DecisionLog | None = None
    decision_problems: tuple[Problem, ...] = ()
    job_tests: tuple[CommonTest, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class EstimateResult:
    """What photos of one opening gave on their own."""

    request: OpeningRequest
    answer: Estimate | NotMeasured
    photos: tuple[PhotoResult, ...]
    order: Order | None = None
