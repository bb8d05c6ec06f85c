"""Sizing rules as files: read, checked with every problem at once, and found by id or by name of the file."""

from __future__ import annotations

import hashlib
import re
import stat
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from importlib import resources
from pathlib import Path
from typing import Any

from platformdirs import user_config_path
from pydantic import ValidationError

from sizing.errors import InputError, Problem
from sizing.jobs.problems import model_problems
from sizing.orders.rule_tables import AcrossTable, FreeTable, LimitsTable, RuleFile, UprightTable
from sizing.orders.rules import Made, Panels, Rule, SideRule
from sizing.plain_toml import NestedTooDeepError, read_toml
from sizing.regularfile import unread
from sizing.units import Unit, parse_length, parse_signed_length

FOLDER = "rules"
# A rule is a page of text; what is larger is another file.
MOST_BYTES = 200_000
MOST_FILES = 500
MOST_NAMED = 5
_HEAD = re.compile(r"^[ \t]*\[[ \t]*rule[ \t]*\]", re.MULTILINE)


@dataclass(frozen=True, slots=True, eq=False)
class Found:
    """A file of a folder of rules: the rule that it says, or why it says none; `id` where it could be read.

    `table` is what stands in it, remarks left out.
    """

    file: Path
    id: str | None
    rule: Rule | None
    error: InputError | None = None
    table: Mapping[str, Any] | None = None


def load_rule(file: Path) -> Rule:
    """Return the rule that a file says.

    Raises
    ------
    InputError
        `rule-unreadable` or `rule-invalid`, with every problem found, each naming file and key.
    """
    raw, sha256 = _read(file)
    return _checked(raw, file, sha256)


def rule_folders(folder: Path, *, top: Path | None = None) -> tuple[Path, ...]:
    """Return the folders in which rules are looked for, in order, whether or not they exist.

    Parameters
    ----------
    folder : Path
        Where the job lies.
    top : Path, optional
        The desk's folder, up to which its parents are looked at. When absent the folder that the command was
        given in, if the job lies below it; else only the folder around the job's.
    """
    here = folder.resolve()
    cwd = Path.cwd()
    last = (top or (cwd if here.is_relative_to(cwd) else here.parent)).resolve()
    chain = [here, *(p for p in here.parents if p.is_relative_to(last))]
    own = user_config_path("secondtape", appauthor=False) / FOLDER
    return tuple(dict.fromkeys([*(p / FOLDER for p in chain), own]))


def rules_in(folders: Iterable[Path]) -> tuple[Found, ...]:
    """Return what the TOML files of these folders say, in their order, by name within each."""
    return tuple(read_rule(file) for folder in folders for file in _files(folder))


def find_rule(
    name: str, folder: Path, *, top: Path | None = None, allow_outside: bool = True, of_job: bool = True
) -> Rule:
    """Return the rule of that id, or the one in that file.

    Parameters
    ----------
    name : str
        An id; with a slash or the ending `.toml` a file, relative to `folder`.
    folder : Path
        The job's folder.
    top : Path, optional
        The desk's folder; see `rule_folders`.
    allow_outside : bool
        Whether a file may lie outside `folder`. Ids are always looked for as `rule_folders` says.
    of_job : bool
        Whether `folder` is a job's; else it is the one that a command is given in, and people are told so.

    Raises
    ------
    InputError
        `rule-missing`, `rule-twice`, `rule-unreadable` or `rule-invalid`; each problem names file and remedy.
    """
    if name.endswith(".toml") or "/" in name or "\\" in name:
        from sizing.jobs.named_files import inside

        file, fault = inside(folder.resolve(), name, allow_outside=allow_outside)
        if fault:
            raise InputError("rule-missing", [Problem("rule", fault)])
        return load_rule(file)
    folders = rule_folders(folder, top=top)
    there = rules_in(folders)
    named = [one for one in there if one.id == name or (one.id is None and one.file.stem == name)]
    if len(named) > 1:
        raise InputError("rule-twice", [Problem("rule", twice(named, name))])
    if not named:
        raise InputError("rule-missing", [Problem("rule", _nowhere(name, there, of_job))])
    [one] = named
    if one.rule is None:
        raise one.error or InputError("rule-unreadable", [])
    return one.rule


def twice(named: Sequence[Found], name: str) -> str:
    """Return that several files have one id, with what to do: of equal copies all but one may go."""
    files = " and ".join(str(one.file) for one in named)
    if all(one.table is not None and one.table == named[0].table for one in named):
        return f"{name!r} stands in {files}, which say the same: keep one of them and delete the rest"
    return f"{name!r} is the id of more than one rule: {files}; rename one, or name the file"


def sample_files() -> dict[str, bytes]:
    """Return the samples that come with the program, by file name; invented, and marked so."""
    folder = resources.files("sizing") / "data" / FOLDER
    return {one.name: one.read_bytes() for one in sorted(folder.iterdir(), key=lambda f: f.name) if one.is_file()}


def _nowhere(name: str, there: Iterable[Found], of_job: bool) -> str:
    import difflib

    ids = sorted({one.id for one in there if one.id is not None})
    near = difflib.get_close_matches(name, ids, 1, cutoff=0.5)
    spoiled = [str(one.file) for one in there if one.id is None]
    says = f"no rule {name!r}" + (f"; did you mean {near[0]!r}?" if near else "")
    where = "beside the job, in the folders above it" if of_job else "in this folder"
    says += (
        f"; looked in rules/ {where} and in your config folder: name one that `secondtape rules` lists, "
        f"{'' if of_job else 'name its file, '}or put its file into one of these"
    )
    if len(spoiled) > MOST_NAMED:
        spoiled = [*spoiled[:MOST_NAMED], f"and {len(spoiled) - MOST_NAMED} more"]
    return says + (f"; not readable there: {', '.join(spoiled)}" if spoiled else "")


def _files(folder: Path) -> list[Path]:
    try:
        return sorted(file for file in folder.iterdir() if file.suffix == ".toml")[:MOST_FILES]
    except OSError:
        return []


def read_rule(file: Path) -> Found:
    """Return what a file says, or why it says no rule."""
    try:
        raw, sha256 = _read(file)
    except InputError as error:
        return Found(file, None, None, error)
    head = raw.get("rule")
    named = head.get("id") if isinstance(head, dict) else None
    name = named if isinstance(named, str) else None
    try:
        return Found(file, name, _checked(raw, file, sha256), table=raw)
    except InputError as error:
        return Found(file, name, None, error, raw)


def _unreadable(file: Path, says: str) -> InputError:
    return InputError("rule-unreadable", [Problem(str(file), says)])


def _read(file: Path) -> tuple[dict[str, Any], str]:
    try:
        if not stat.S_ISREG(file.stat().st_mode):
            raise _unreadable(file, "no regular file: name a TOML file that holds one rule")
        with file.open("rb") as stream:
            data = stream.read(MOST_BYTES + 1)
    except (OSError, ValueError) as error:
        if isinstance(error, InputError):
            raise
        raise _unreadable(file, unread(error)) from None
    if len(data) > MOST_BYTES:
        raise _unreadable(file, "over 200 kB: a rule is a page of text, keep one in a file")
    text = ""
    try:
        text = data.decode("utf-8-sig")
        raw = read_toml(text)
    except NestedTooDeepError as error:
        raise _unreadable(file, str(error)) from None
    except UnicodeDecodeError:
        raise _unreadable(file, "not UTF-8 text: save the file as UTF-8") from None
    except (ValueError, RecursionError) as error:
        fact = "brackets too deep" if isinstance(error, RecursionError) else error
        says = _two_rules(text) or f"not TOML: {fact}; lengths such as 54 3/8 stand in quotes"
        raise _unreadable(file, says) from None
    return raw, hashlib.sha256(data).hexdigest()


def _two_rules(text: str) -> str:
    """Return that a file which is no TOML holds a second rule, empty where it does not; two in one file are none."""
    heads = [found.start() for found in _HEAD.finditer(text)]
    if len(heads) < 2:
        return ""
    line = text.count("\n", 0, heads[1]) + 1
    try:
        same = read_toml(text[: heads[1]]) == read_toml(text[heads[1] :])
    except (ValueError, RecursionError):
        same = False
    if same:
        return f"the same rule stands in it twice: delete the copy that begins in line {line}"
    return f"a second [rule] begins in line {line}: a file holds one rule, put that one into a file of its own"


def _checked(raw: Mapping[str, Any], file: Path, sha256: str) -> Rule:
    head = raw.get("rule")
    unit: Unit = "mm" if isinstance(head, dict) and head.get("units") == "mm" else "in"
    try:
        tables = RuleFile.model_validate(raw, context={"unit": unit})
    except ValidationError as error:
        raise InputError("rule-invalid", model_problems(error, raw, file, RuleFile)) from None
    return _rule(tables, file, sha256)


def _rule(tables: RuleFile, file: Path, sha256: str) -> Rule:
    unit, head = tables.rule.units, tables.rule
    tolerance = {f"{key}_mm": parse_length(value, unit).mm for key, value in tables.tolerance if value is not None}
    return Rule(
        id=head.id,
        title=head.title,
        file=file,
        sha256=sha256,
        units=unit,
        width=_side(tables.width, unit),
        height=_side(tables.height, unit),
        free=_lengths(tables.free, unit),
        limits=_lengths(tables.limits, unit),
        tolerance=tolerance,
        panels=_panels(tables.panels, unit),
        confirm=tuple(dict.fromkeys(head.confirm)),
        note=head.note,
    )


def _lengths(table: FreeTable | LimitsTable, unit: Unit) -> dict[str, Fraction]:
    return {key: parse_length(value, unit).exact for key, value in table if value is not None}


def _exact(written: str | float | None, unit: Unit) -> Fraction | None:
    return None if written is None else parse_length(written, unit).exact


def _side(table: Any, unit: Unit) -> SideRule:  # noqa: ANN401 -- WidthTable or HeightTable
    if isinstance(table.add, AcrossTable | UprightTable):
        parts = [parse_signed_length(value, unit).exact for _, value in table.add]
    else:  # one length is that of each side
        parts = [parse_signed_length(table.add, unit).exact] * 2
    sizes = tuple(parse_length(size, unit).exact for size in table.sizes or ())
    return SideRule(
        reading=table.reading,
        add=sum(parts, Fraction(0)),
        first=parts[0],
        made=Made(_exact(table.step, unit), sizes, table.choose or "nearest"),
        minimum=_exact(table.minimum, unit),
        maximum=_exact(table.maximum, unit),
        hardware=_exact(getattr(table, "hardware", None), unit) or Fraction(0),
        hardware_least=_exact(getattr(table, "hardware_least", None), unit) or Fraction(0),
    )


def _panels(table: Any, unit: Unit) -> Panels | None:  # noqa: ANN401 -- PanelsTable or None
    if table is None:
        return None
    splits = tuple(tuple(shares) for shares in table.splits)
    narrowest = _exact(table.narrowest, unit) or Fraction(0)
    return Panels(parse_length(table.widest, unit).exact, narrowest, parse_length(table.gap, unit).exact, splits)
