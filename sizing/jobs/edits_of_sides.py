"""What a page shows and changes of values that a job file may hold as one length or as several: offsets, bars."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import tomlkit
from tomlkit.items import InlineTable, Table

from sizing.errors import InputError, Problem
from sizing.jobs.edits import put

OFFSET, BAR = "edge_offset", "check_bar"
# In the order in which the form asks for them; left and right as the file has them.
OFFSET_SIDES = ("head", "sill", "left", "right")
_BARS = ("across", "along")
BOTH = "give one length for all four sides, or lengths by side, not both: empty the one box or the four"


def offset_texts(table: Mapping[str, Any]) -> dict[str, str]:
    """Return the edge offsets of an opening as written, by the names of their boxes; empty where there is none.

    Examples
    --------
    >>> offset_texts({"edge_offset": {"head": 0, "sill": {"value": "1 1/4", "u": "1/16"}}})["edge_offset.sill"]
    '1 1/4'
    """
    written = table.get(OFFSET, "")
    by_side = isinstance(written, Mapping) and "value" not in written
    texts = {OFFSET: "" if by_side else _text(written)}
    return texts | {f"{OFFSET}.{side}": _text(written.get(side, "")) if by_side else "" for side in OFFSET_SIDES}


def bar_texts(table: Mapping[str, Any]) -> dict[str, str]:
    """Return the printed bars of an opening's sheets as written, by the names of their boxes.

    Examples
    --------
    >>> bar_texts({"check_bar": "149.5 mm"})
    {'check_bar': '149.5 mm', 'check_bar.along': ''}
    """
    written = table.get(BAR, "")
    inner = written if isinstance(written, Mapping) else {"across": written}
    across, along = (str(inner.get(bar, "")) for bar in _BARS)
    return {BAR: across, f"{BAR}.along": along}


def set_offsets(table: Any, typed: Mapping[str, str]) -> None:  # noqa: ANN401 -- a table of tomlkit, loosely typed
    """Set the edge offsets of an opening as typed: one for all sides, or by side.

    Parameters
    ----------
    typed : mapping
        Texts by `edge_offset`, `edge_offset.head`, ...; a box that is not named stays. Empty: assumed, not known.

    Raises
    ------
    InputError
        One for all and one by side at once.
    """
    before = offset_texts(table)
    wanted = before | {key: text for key, text in typed.items() if key in before}
    if wanted == before:
        return
    sides = {side: text for side in OFFSET_SIDES if (text := wanted[f"{OFFSET}.{side}"])}
    if wanted[OFFSET] and sides:
        raise InputError("offset-twice", [Problem(OFFSET, BOTH)])
    old = table.get(OFFSET)
    if not sides:
        if wanted[OFFSET] and isinstance(old, Mapping) and "value" in old:
            table[OFFSET]["value"] = wanted[OFFSET]
        else:
            _replace(table, OFFSET, wanted[OFFSET])
        return
    if not isinstance(old, Mapping) or "value" in old:
        _replace(table, OFFSET, _inline(sides))
        return
    for side in OFFSET_SIDES:
        _set(old, side, sides.get(side, ""))


def set_bars(table: Any, typed: Mapping[str, str]) -> None:  # noqa: ANN401 -- as above
    """Set the printed bars as measured, by `check_bar` (across the page) and `check_bar.along`; empty: not measured."""
    before = bar_texts(table)
    wanted = before | {key: text for key, text in typed.items() if key in before}
    if wanted == before:
        return
    across, along = wanted[BAR], wanted[f"{BAR}.along"]
    old = table.get(BAR)
    if not along and not isinstance(old, Mapping):
        _replace(table, BAR, across)
    elif not across and not along:
        table.pop(BAR)
    elif isinstance(old, Mapping):
        for bar, text in zip(_BARS, (across, along), strict=True):
            _set(old, bar, text)
    else:
        same = old is not None and across == before[BAR]
        _replace(table, BAR, _inline({"across": old.unwrap() if same else across, "along": along}))


def _text(written: Any) -> str:  # noqa: ANN401 -- as above
    """Return a length as written; of one with its uncertainty the length."""
    return str(written.get("value", "") if isinstance(written, Mapping) else written)


def _set(inner: Any, key: str, text: str) -> None:  # noqa: ANN401 -- as above
    """Set one length of a table; one that says the same stays as written, its uncertainty stays with it."""
    old = inner.get(key)
    if not text:
        inner.pop(key, None)
    elif isinstance(old, Mapping) and _text(old) != text:
        inner[key]["value"] = text
    elif old is None or _text(old) != text:
        inner[key] = text


def _replace(table: Any, key: str, value: Any) -> None:  # noqa: ANN401 -- as above
    """Set a key, or take it out where the value is empty; what was a table of its own becomes a plain line."""
    if not value or isinstance(table.get(key), Table):
        table.pop(key, None)
    if value:
        put(table, key, value)


def _inline(values: Mapping[str, Any]) -> InlineTable:
    inline = tomlkit.inline_table()
    for key, value in values.items():
        if value:
            inline.add(key, value)
    return inline
