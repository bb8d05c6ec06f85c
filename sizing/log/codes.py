"""Codes in place of people's names, for what leaves the office."""

from __future__ import annotations

import secrets
import sqlite3
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from sizing.log.compared_readings import NOT_SAID
from sizing.log.database import folded, writing
from sizing.logged import Details, Logged
from sizing.statistics.compared import Compared

# No vowels: a code is no word.
_LETTERS = "BCDFGHJKMNPQRSTVWXZ23456789"
_CODE_LENGTH = 5


def codes(log: sqlite3.Connection) -> Mapping[str, str]:
    """Return a code for each folded name in the log: drawn by lot, the same each time while the log lasts.

    A hash of a name could be found again by trying names; a code drawn by lot cannot.
    """
    names = log.execute(
        """SELECT measured_by FROM runs WHERE measured_by NOT NULL
        UNION SELECT by FROM readings WHERE by NOT NULL UNION SELECT by FROM decisions
        UNION SELECT decided_by FROM releases"""
    )
    wanted = {folded(row[0]) or "" for row in names}
    known = {row["name"]: row["code"] for row in log.execute("SELECT name, code FROM codes")}
    new = sorted(wanted - set(known))
    if new:
        with writing(log):
            for name in new:
                added = 0
                while added == 0:  # another name may have drawn the same
                    code = "P-" + "".join(secrets.choice(_LETTERS) for _ in range(_CODE_LENGTH))
                    added = log.execute(
                        "INSERT INTO codes VALUES (?, ?) ON CONFLICT (name) DO UPDATE SET code = code "
                        "ON CONFLICT (code) DO NOTHING",
                        (name, code),
                    ).rowcount
        known = {row["name"]: row["code"] for row in log.execute("SELECT name, code FROM codes")}
    return {name: known[name] for name in wanted}


def coded(found: Details | Logged | Compared, names: Mapping[str, str]) -> Any:  # noqa: ANN401 -- as it was given
    """Return the same with codes in place of names, and without paths and free texts, which may hold names."""
    match found:
        case Logged():
            return replace(found, path="", folder=None, measured_by=_code(found.measured_by, names))
        case Compared():
            return replace(found, by=found.by if found.by == NOT_SAID else _code(found.by, names) or NOT_SAID)
        case Details():
            return Details(
                coded(found.logged, names),
                found.openings,
                tuple(replace(r, by=_code(r.by, names)) for r in found.readings),
                tuple(replace(d, by=_code(d.by, names) or "", reason="", risk_accepted="") for d in found.decisions),
                tuple(replace(x, decided_by=_code(x.decided_by, names) or "") for x in found.releases),
                found.others,
            )


def _code(name: str | None, names: Mapping[str, str]) -> str | None:
    return None if name is None else names.get(folded(name) or "", "P-?")
