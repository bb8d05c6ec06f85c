"""The command `estimate`: measures from photos of one opening alone."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from sizing.commands.streams import (
    JsonOption,
    QuietOption,
    complain,
    one_screen,
    progress_shown,
    refuse_all,
    require_libraries,
    say,
)

if TYPE_CHECKING:
    from sizing.orders.rules import Rule
    from sizing.units import Unit
    from vision.request import OpeningRequest


def estimate(
    photos: Annotated[list[Path], typer.Argument(metavar="PHOTO...", readable=False, help="Photos of one opening.")],
    as_json: JsonOption = False,
    reference: Annotated[
        str,
        typer.Option(
            "--reference",
            metavar="KIND",
            help="sheet, letter, a4, id1, or a rectangle of given size as 120x80mm.",
        ),
    ] = "sheet",
    corners: Annotated[
        str | None,
        typer.Option(
            "--corners",
            metavar='"x,y x,y x,y x,y"',
            help="Rough corners of the opening in the first photo, in pixels of the upright photo, top left "
            "first, clockwise.",
        ),
    ] = None,
    as_clicked: Annotated[
        bool, typer.Option("--as-clicked", help="The corners stand as given, no side is traced.")
    ] = False,
    click: Annotated[
        float,
        typer.Option("--click", metavar="PX", help="Standard deviation of a click per axis, in pixels."),
    ] = 3.0,
    reference_corners: Annotated[
        list[str] | None,
        typer.Option(
            "--reference-corners",
            metavar='"x,y x,y x,y x,y"',
            help="Corners of a page, card or rectangle in the first photo; once for each in view.",
        ),
    ] = None,
    wall: Annotated[str, typer.Option("--wall", metavar="KIND", help="masonry, render, siding or panel.")] = "masonry",
    edge_offset: Annotated[
        str | None,
        typer.Option(
            "--edge-offset",
            metavar="LENGTH",
            help="How far the edges stand in front of the surface that the reference lies on, as 3/4in, or "
            "by side as head=0,sill=40mm,left=0,right=0.",
        ),
    ] = None,
    check_bar: Annotated[
        str | None,
        typer.Option(
            "--check-bar",
            metavar="LENGTH",
            help="The printed 150 mm bar as measured, or across=149.5mm,along=199.4mm.",
        ),
    ] = None,
    lens: Annotated[
        str | None,
        typer.Option(
            "--lens",
            metavar="FILE",
            help="Camera profile, made by `secondtape lens`; it applies to photos of that camera.",
        ),
    ] = None,
    focal35: Annotated[
        float | None,
        typer.Option("--focal35", metavar="MM", help="Focal length in 35 mm terms, where the photo does not say it."),
    ] = None,
    rule: Annotated[
        str | None,
        typer.Option(
            "--rule",
            metavar="RULE",
            help="Sizing rule, by id or file: which sizes it would make of the photo's figures, for a pre-quote.",
        ),
    ] = None,
    sill_at: Annotated[
        str,
        typer.Option("--sill-at", metavar="LINE", help="The sill's line that heights end on: front, wall or frame."),
    ] = "front",
    units: Annotated[str, typer.Option("--units", metavar="UNIT", help="in or mm: the lengths shown to you.")] = "in",
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="DIR", help="Write pictures and result.json into this folder."),
    ] = None,
    no_pictures: Annotated[bool, typer.Option("--no-pictures", help="Write no pictures into --out.")] = False,
    quiet: QuietOption = False,
) -> int:
    """Measure from photos of one opening alone, for a pre-quote; there is no price in it.

    Ends with 0 measured, 3 could not be measured (says why and what photo to take), 4 a photo could not be
    read, 2 bad usage.

    Example: secondtape estimate w1-a.jpg --check-bar 149.5mm --corners "812,640 3120,655 3105,2410 820,2398"
    """
    from sizing.commands.arguments import EstimateOptions, opening_request, rule_named
    from sizing.errors import InputError

    options = EstimateOptions(
        photos=tuple(photos),
        reference=reference,
        corners=corners,
        as_clicked=as_clicked,
        click=click,
        reference_corners=tuple(reference_corners or ()),
        wall=wall,
        edge_offset=edge_offset,
        check_bar=check_bar,
        lens=lens,
        focal35=focal35,
        rule=rule,
        sill_at=sill_at,
        units=units,
    )
    try:
        request = opening_request(options)
        sizing_rule = rule_named(options.rule)
    except InputError as error:
        return refuse_all(error)
    require_libraries()
    shown: Any = units  # checked with the other options
    return _measured(request, sizing_rule, shown, out, pictures=not no_pictures, as_json=as_json, quiet=quiet)


def _measured(
    request: OpeningRequest,
    rule: Rule | None,
    units: Unit,
    out: Path | None,
    *,
    pictures: bool,
    as_json: bool,
    quiet: bool,
) -> int:
    """Measure, write what is asked for into `out` and say the result; return the exit status."""
    from sizing.check import estimate_exit, estimate_photos
    from sizing.json_values import as_text
    from sizing.result.document import estimate_document
    from sizing.saving import save_estimate
    from sizing.terminal import estimate_complaints, estimate_text

    result = estimate_photos(request, progress=progress_shown(quiet), rule=rule, unit=units)
    document = estimate_document(result)
    saved, warnings = save_estimate(result, document, out=out, units=units, pictures=pictures)
    for line in warnings:
        complain(line)
    for line in estimate_complaints(result, in_view=one_screen() and not as_json):
        complain(line)
    say(as_text(document) if as_json else estimate_text(result, units, saved, pictures=pictures))
    return estimate_exit(result)
