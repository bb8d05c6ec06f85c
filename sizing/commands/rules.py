"""The command `rules`: list, check and copy out sizing rules."""

from __future__ import annotations

import os
from collections import defaultdict
from pathlib import Path
from typing import Annotated, Any

import typer

from sizing.commands.streams import JsonOption, complain, refuse, say
from sizing.exits import Exit

rules = typer.Typer(
    name="rules",
    help="List, check and copy out sizing rules; alone it lists those found from this folder.\n\n"
    "Example: secondtape rules check rules/louvered-outside.toml",
    rich_markup_mode=None,
    add_completion=False,
)

FolderArgument = Annotated[
    Path, typer.Argument(metavar="[FOLDER]", help="A job's folder, from which rules are looked for; this one.")
]


@rules.callback(invoke_without_command=True)
def _alone(context: typer.Context) -> int:
    return _list(Path(), as_json=False) if context.invoked_subcommand is None else Exit.DONE


@rules.command("list")
def list_rules(folder: FolderArgument = Path(), as_json: JsonOption = False) -> int:
    """List the rules found from a folder, with title, file and hash.

    Ends with 0, or 4 where a file there cannot be used or two rules have one id.

    Example: secondtape rules list jobs/
    """
    return _list(folder, as_json=as_json)


@rules.command("check")
def check_rules(
    files: Annotated[list[Path], typer.Argument(metavar="FILE...", readable=False, help="Files with one rule each.")],
) -> int:
    """Check rule files; every problem is named with file and key.

    Ends with 0, or 4 where one cannot be used, or two that lie in one folder have one id.

    Example: secondtape rules check rules/louvered-outside.toml
    """
    from sizing.messages import order as words
    from sizing.messages.one_line import one_line
    from sizing.orders.rulefile import Found, read_rule, twice

    status = Exit.DONE
    # A rule is looked for by its id in one folder after the other.
    alike: dict[tuple[Path, str | None], list[Found]] = defaultdict(list)
    for file in dict.fromkeys(files):
        found = read_rule(file)
        alike[file.absolute().parent, found.id].append(found)
        if found.rule is not None:
            say(words.rule_sound(file, found.rule.id))
        for problem in found.error.problems if found.error is not None else ():
            status = Exit.UNREADABLE
            complain(str(problem))
    for (_, identity), named in alike.items():
        if identity is not None and len(named) > 1:
            status = Exit.UNREADABLE
            complain(f"{one_line(twice(named, identity))}.")
    return status


@rules.command("copy")
def copy_samples(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="Where the samples go, for example rules.")],
) -> int:
    """Copy out the samples, invented and marked so; a file that is there is never overwritten.

    Ends with 0, or 2 where one was there already or could not be written.

    Example: secondtape rules copy rules
    """
    from sizing.messages import order as words
    from sizing.orders.rulefile import sample_files

    written, status = [], Exit.DONE
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        reason = "no folder" if isinstance(error, FileExistsError) else error.strerror or str(error)
        return refuse(words.cannot_copy(folder, reason))
    for name, data in sample_files().items():
        file = folder / name
        try:
            _put(file, data)
            written.append(file)
        except FileExistsError:
            status = Exit.USAGE
            complain(words.kept(file))
        except OSError as error:
            status = Exit.USAGE
            complain(words.cannot_copy(file, error.strerror or str(error)))
    if written:
        say(words.samples_copied(written))
    return status


def _put(file: Path, data: bytes) -> None:
    """Write a file whole or not at all; FileExistsError where one is there already."""
    if os.path.lexists(file):
        raise FileExistsError(file)
    beside = file.with_name(f".{file.name}.part")
    try:
        beside.write_bytes(data)
        try:
            file.hardlink_to(beside)  # unlike a rename, never over a file that came in between
        except FileExistsError:
            raise
        except OSError:  # a disk without links
            beside.rename(file)
    finally:
        beside.unlink(missing_ok=True)


def _list(folder: Path, *, as_json: bool) -> int:
    from sizing.json_values import as_text
    from sizing.messages import order as words
    from sizing.messages.one_line import one_line
    from sizing.orders.rulefile import Found, rule_folders, rules_in, twice
    from sizing.result.document import SCHEMA

    folders = rule_folders(folder)
    status = Exit.DONE
    by_id: dict[str, list[Found]] = defaultdict(list)
    lines, listed = [], list[dict[str, Any]]()
    for found in rules_in(folders):
        if found.id is not None:
            by_id[found.id].append(found)
        if found.rule is None:
            status = Exit.UNREADABLE
            for problem in found.error.problems if found.error is not None else ():
                complain(str(problem))
            continue
        rule = found.rule
        lines.append(words.rule_listed(rule.id, rule.title, rule.file, rule.sha256))
        listed.append({"id": rule.id, "title": rule.title, "file": str(rule.file), "sha256": rule.sha256})
    for identity, named in by_id.items():
        if len(named) > 1:
            status = Exit.UNREADABLE
            complain(f"{one_line(twice(named, identity))}.")
    if as_json:
        say(as_text({"schema": SCHEMA, "rules": listed}))
    else:
        say("\n".join(lines) if lines else words.no_rules(folders))
    return status
