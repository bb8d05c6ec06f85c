"""What a report holds, as values: the job, a page an opening, its readings and budget, the files behind it."""

from __future__ import annotations

from dataclasses import dataclass

from sizing.decision import Verdict
from sizing.report.pictures import ReportPicture


@dataclass(frozen=True, slots=True)
class ReadingLine:
    """One reading against the photo.

    The drawing is of opening less reading, mm: `band_mm` within which the reading does no harm, `interval_mm` of the
    photo at 95 % with `centre_mm`; None without a photo.
    """

    name: str
    tape: str
    photo: str
    smallest_slip: str
    verdict: str
    verdict_words: str
    band_mm: tuple[float, float]
    centre_mm: float | None
    interval_mm: tuple[float, float] | None


@dataclass(frozen=True, slots=True)
class Budget:
    """Where the uncertainty of some measures comes from: names of the parts, and rows of measure and figures."""

    parts: tuple[str, ...]
    rows: tuple[tuple[str, tuple[str, ...]], ...]


@dataclass(frozen=True, slots=True, eq=False)
class OpeningPage:
    """One opening's page.

    `title` heads it with the look of the verdict `title_kind`, and `says` stands below: what the check says, but where
    a person stopped the opening; `verdict`, `verdict_words` and `why` are always the check's. `decision` is the last
    decision in full, `decided` in short, `released` in which releases the opening is; empty where there is none.
    `tolerance` is that of its readings, in words.
    `no_picture` says why there is none, where there is none.
    """

    label: str
    verdict: Verdict
    verdict_words: str
    title: str
    title_kind: Verdict
    why: str
    says: str
    facts: tuple[tuple[str, str], ...]
    to_do: tuple[str, ...]
    readings: tuple[ReadingLine, ...]
    tolerance: str
    causes: tuple[str, ...]
    order_size: str
    order: tuple[str, ...]
    footprint: tuple[str, ...]
    budget: Budget | None
    notes: tuple[str, ...]
    remeasure: tuple[str, ...]
    decision: str
    decided: str
    released: str
    inputs_sha256: str
    pictures: tuple[ReportPicture, ...]
    no_picture: str


@dataclass(frozen=True, slots=True)
class Input:
    """One file that the check rests on: what it is, its name and SHA-256."""

    kind: str
    name: str
    sha256: str


@dataclass(frozen=True, slots=True, eq=False)
class Report:
    """The report of one job; `made_at` is shown as it is, `stopped` is there where a person stopped an opening.

    `whole` is False where the program failed on an opening's page, which then says so.
    """

    job: str
    made_at: str
    program: str
    verdict: Verdict
    stopped: bool
    headline: str
    facts: tuple[tuple[str, str], ...]
    summary: str
    common: tuple[str, ...]
    pages: tuple[OpeningPage, ...]
    method: tuple[str, ...]
    inputs: tuple[Input, ...]
    versions: tuple[str, ...]
    cautions: tuple[str, ...]
    whole: bool = True
