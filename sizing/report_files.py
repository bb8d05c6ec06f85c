"""A report on disk: `report.pdf` and `report.html` in a folder of their own, whole or not at all."""

from __future__ import annotations

from pathlib import Path

from sizing.job import Job
from sizing.pdfpage import PaperName
from sizing.report import Report
from sizing.report_html import report_html
from sizing.report_pdf import report_pdf
from sizing.runfolder import Writer, safe_name, target_folder, text_writer, write_run

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
