"""Addresses of jobs and openings: each job and each opening at the desk has one of its own, and no two share any.

A job goes by its path in the desk's folder, so its name may hold slashes; behind it stand words of the desk's own
(`/job/NAME/papers`). A folder below another that is named like such a word is told apart by a `~` before it.
"""

from __future__ import annotations

from collections.abc import Iterable

from starlette.convertors import Convertor, register_url_convertor

from sizing.errors import InputError, Problem

# What stands behind a job's name in the routes of the desk; `readings.` has the kind of file behind it.
WORDS = (
    "assign", "check", "facts", "left-out", "opening", "opening-facts", "openings", "panel", "papers", "photo",
    "photos", "propose", "readings", "release",
)  # fmt: skip
_FILE = "readings."
_TOLD = "~"
_NO_LABEL = "can have no page at the desk: a label has no . or .. alone between slashes, and no /boxes at its end"


def job_name(path: str) -> str:
    """Return the name of a job by its path in the desk's folder, with slashes; `job_path` is its reverse.

    Examples
    --------
    >>> job_name("street/larch-114"), job_name("papers"), job_name("street/papers"), job_name("street/~papers")
    ('street/larch-114', 'papers', 'street/~papers', 'street/~~papers')
    """
    first, *parts = path.split("/")
    return "/".join([first, *(_TOLD + p if _is_word(p) or p.startswith(_TOLD) else p for p in parts)])


def job_path(name: str) -> str:
    """Return the path of a job in the desk's folder by its name."""
    first, *parts = name.split("/")
    return "/".join([first, *(p.removeprefix(_TOLD) for p in parts)])


def label_problems(labels: Iterable[str]) -> list[Problem]:
    """Return what is wrong with labels that can have no page of their own.

    Notes
    -----
    Browsers leave out the parts `.` and `..` of an address, however they are quoted (WHATWG URL, *single-dot* and
    *double-dot URL path segment*), and behind `/boxes` stands the page of boxes of the opening before it.
    """
    return [
        Problem(f"opening {label[:40]!r}", f"{_NO_LABEL}; name it otherwise")
        for label in labels
        if label.endswith("/boxes") or {".", ".."} & set(label.split("/"))
    ]


def require_reachable(labels: Iterable[str]) -> None:
    """Raise InputError, naming each, where labels can have no page of their own."""
    if problems := label_problems(labels):
        raise InputError("label", problems)


def _is_word(part: str) -> bool:
    return part in WORDS or part.startswith(_FILE)


class _JobConvertor(Convertor[str]):
    """The name of a job in a route, `{name:job}`: it ends before the first word of the desk's own."""

    regex = rf"[^/]+(?:/(?!(?:{'|'.join(WORDS)})(?:/|$)|readings\.)[^/]+)*"

    def convert(self, value: str) -> str:
        return value

    def to_string(self, value: str) -> str:
        return value


register_url_convertor("job", _JobConvertor())
