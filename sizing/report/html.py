"""The report as one HTML file: no script, nothing from outside; pictures are in it."""

from __future__ import annotations

import base64

from jinja2 import Environment, PackageLoader, StrictUndefined

from sizing.messages import report as words
from sizing.messages import report_figures, report_pictures
from sizing.report.chart import bar_of, reach_mm
from sizing.report.contents import Report
from sizing.report.pictures import ReportPicture
from sizing.units import Unit


def report_html(report: Report, unit: Unit) -> str:
    """Return a report as an HTML document that needs no other file.

    Parameters
    ----------
    report : as `sizing.report.report.build_report` gives it.
    unit : of the job, for the drawings' scales.
    """
    environment = Environment(
        loader=PackageLoader("sizing", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    reach = {page.label: reach_mm(page.readings) for page in report.pages}
    return environment.get_template("report.html").render(
        report=report,
        words=words,
        figure_words=report_figures,
        picture_words=report_pictures,
        heading=words.HEADINGS,
        column=words.COLUMNS,
        reach=reach,
        bar_of=bar_of,
        source=_source,
        unit=unit,
    )


def _source(picture: ReportPicture) -> str:
    return f"data:image/jpeg;base64,{base64.b64encode(picture.jpeg).decode('ascii')}"
