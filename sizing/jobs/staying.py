"""What a change of a job file must leave as it was: all that was there and that it does not name.

A change is made to the text as it is written, and TOML can say one thing in many ways; so what came of it is held
against what was there before, value by value.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

# Keys from the top of the file down; an opening goes by its label, a photo by its file, any other of a list by number.
Place = tuple[str, ...]
ANY = "\0"  # in a place: whatever stands there; no name is that
_NAMES = {"opening": "label", "photos": "file"}
_AGAIN = "\0"  # behind the name of one that was listed before


def lost(before: object, after: object, named: Sequence[Place] = (), at: Place = ()) -> Place | None:
    """Return the first place at which a value of `before` is not in `after`, None where all of them are.

    Parameters
    ----------
    before, after : the tables of a job file, as `tomllib` reads them. What only `after` holds may be anything.
    named : places that may be another or gone, with all that is in them.
    at : where both stand.

    Examples
    --------
    >>> was = {"opening": [{"label": "W1", "photos": ["a.jpg"], "note": "x"}]}
    >>> lost(was, {"opening": [{"label": "W1", "photos": [{"file": "a.jpg", "turn": 90}]}]})
    ('opening', 'W1', 'note')
    >>> lost(was, {"opening": [{"label": "W1", "photos": ["a.jpg"]}]}, [("opening", ANY, "note")]) is None
    True
    """
    if any(_holds(place, at) for place in named):
        return None
    old, new = _parts(before, at), _parts(after, at)
    if old is None:
        return None if _same(before, after) else at
    for key, value in old.items():
        here = (*at, key)
        # a table that is gone is one with nothing in it: what it held may have been named
        found = lost(value, None if new is None else new.get(key), named, here)
        if found is not None:
            return found
    return None


def place_name(place: Place) -> str:
    """Return a place for people.

    Examples
    --------
    >>> place_name(("opening", "W1", "photos", "a.jpg", "turn"))
    'opening W1, photos a.jpg, turn'
    """
    words: list[str] = []
    for i, part in enumerate(place):
        shown = part.rstrip(_AGAIN)[:40]
        if i % 2 and place[i - 1] in ("opening", "photos", "visit", "obstacles", "documents"):
            words[-1] += f" {shown}"
        else:
            words.append(shown)
    return ", ".join(words)


def _holds(named: Place, at: Place) -> bool:
    """Return whether a place is the named one, of those listed twice any."""
    return len(named) == len(at) and all(n in (ANY, part.rstrip(_AGAIN)) for n, part in zip(named, at, strict=True))


def _parts(value: object, at: Place) -> Mapping[str, object] | None:
    """Return what a table or list holds by key or name; None for a single value."""
    key = _NAMES.get(at[-1]) if len(at) in (1, 3) and at[0] == "opening" else None
    if isinstance(value, Mapping):
        return value
    if isinstance(value, list):
        return _listed(value, key)
    if len(at) == 4 and at[2] == "photos" and isinstance(value, str):  # a bare name says the same as a table with it
        return {"file": value}
    return None


def _listed(values: Sequence[object], key: str | None) -> Mapping[str, object]:
    found: dict[str, object] = {}
    for i, value in enumerate(values):
        name = str(i)
        if key is not None:
            name = str(value.get(key, i) if isinstance(value, Mapping) else value)
        while name in found:
            name += _AGAIN
        found[name] = value
    return found


def _same(one: object, other: object) -> bool:
    return type(one) is type(other) and (one == other or (one != one and other != other))  # noqa: PLR0124 -- nan
