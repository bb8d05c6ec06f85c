"""A report on disk: `report.pdf` and `report.html` in a folder of their own, whole or not at all."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from sizing.jobs.job import Job
from sizing.outcome import JobResult
from sizing.pictures.blanking import Blank, job_blanks
from sizing.pictures.drawn import Complain
from sizing.printed.pdfpage import PaperName
from sizing.release.handover import earlier_releases
from sizing.report.contents import Report
from sizing.report.html import report_html
from sizing.report.pdf import report_pdf
from sizing.report.report import build_report
from sizing.runs.runfolder import FOLDER, Writer, safe_name, target_folder, text_writer, write_run

PDF, HTML = "report.pdf", "report.html"


def write_report(report: Report, job: Job, paper: PaperName, out: Path | None) -> tuple[Path, Path]:
    """Write a report; return PDF and HTML.

    Parameters
    ----------
    report : of `job`.
    job : the files go into `secondtape/report` in its folder, or into `out` / `JOB-report`; older ones there are
        replaced.
    paper : "letter" or "a4".
    out : in place of the job's folder.

    Raises
    ------
    RunFolderError
        The files cannot be written; the older ones stay.
    """
    content = report_pdf(report, paper, job.units)

    def write_pdf(path: Path) -> None:
        path.write_bytes(content)

    target = target_folder(job.folder, out, "report" if out is None else f"{safe_name(job.id)}-report")
    files: list[tuple[str, Writer]] = [(PDF, write_pdf), (HTML, text_writer(report_html(report, job.units)))]
    write_run(target, files)
    return target / PDF, target / HTML


def report_job(
    result: JobResult, made_at: str, blanks: Sequence[Blank], paper: PaperName, out: Path | None, complain: Complain
) -> tuple[Report, tuple[Path, Path]]:
    """Write the report of a checked job with what `blank.toml` and `blanks` hide; return it, and PDF and HTML.

    Parameters
    ----------
    result : of a job that could be read.
    made_at : date, printed.
    blanks, paper, out : more boxes; as for `write_report`.
    complain : told what could not be drawn.

    Raises
    ------
    InputError
        It is not known what must not be seen: `blank.toml` cannot be read, or a box names no photo of the job.
    RunFolderError
        The files cannot be written; the older ones stay.
    """
    assert result.job is not None
    blanks = job_blanks(result.job.folder, [p.file for o in result.openings for p in o.opening.photos], blanks)
    releases = earlier_releases(result.job.folder / FOLDER, result.job.id)
    built = build_report(result, made_at, blanks, complain, releases)
    return built, write_report(built, result.job, paper, out)
