"""Text of a length as people and phones type it: made plain, and its parts told apart."""

from __future__ import annotations

import re

_PLAIN = str.maketrans(
    dict.fromkeys("’‘′‵ʹʼ´`＇", "'")
    | dict.fromkeys("”“″‶ʺ˝〃＂", '"')
    | dict.fromkeys("‐‑‒–—−－", "-")
    | dict.fromkeys("⁄∕／", "/")
    | {"＋": "+", "．": ".", "，": ","}
)
_VULGAR = {
    "½": "1/2", "⅓": "1/3", "⅔": "2/3", "¼": "1/4", "¾": "3/4", "⅕": "1/5", "⅖": "2/5", "⅗": "3/5",
    "⅘": "4/5", "⅙": "1/6", "⅚": "5/6", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8", "⅒": "1/10",
}  # fmt: skip
_RAISED = str.maketrans("⁰¹²³⁴⁵⁶⁷⁸⁹₀₁₂₃₄₅₆₇₈₉", "0123456789" * 2)
_RAISED_FRACTION = re.compile("([⁰¹²³⁴⁵⁶⁷⁸⁹]+)/([₀₁₂₃₄₅₆₇₈₉]+)")

_SPELLED = {
    "in": ('"', "in.", "in", "inch", "inches"),
    "ft": ("'", "ft.", "ft", "foot", "feet"),
    "mm": ("mm", "millimetre", "millimetres", "millimeter", "millimeters"),
    "cm": ("cm", "centimetre", "centimetres", "centimeter", "centimeters"),
    "m": ("m", "metre", "metres", "meter", "meters"),
}
# Every word for a unit that is understood, and the unit.
UNIT_OF = {word: unit for unit, words in _SPELLED.items() for word in words}
_NUMBER = r"[0-9.,](?:[0-9.,/ -]*[0-9])?"
_WORDS = "|".join(re.escape(word) for word in sorted(UNIT_OF, key=len, reverse=True))
_FEET = "|".join(re.escape(word) for word in sorted(_SPELLED["ft"], key=len, reverse=True))
# Feet, number, unit and strong or scant, of a text made plain.
SHAPE = re.compile(
    rf"(?:(?P<feet>{_NUMBER}) ?(?:{_FEET}) ?-? ?)?(?P<number>{_NUMBER})"
    rf" ?(?P<mark>strong|scant|[+-])? ?(?P<unit>{_WORDS})? ?(?P<after>strong|scant|[+-])?"
)


def plain(text: str) -> str:
    r"""Return the text in lower case with ASCII quotes, dashes, slashes and fractions, single spaces between.

    What it does not know stays, for the reader to refuse.

    Examples
    --------
    >>> plain("4′-6⅜″")
    '4\'-6 3/8 "'
    """
    text = text.translate(_PLAIN).replace("''", '"')
    text = _RAISED_FRACTION.sub(lambda m: f" {m[1].translate(_RAISED)}/{m[2].translate(_RAISED)} ", text)
    for sign, fraction in _VULGAR.items():
        # A space only behind a digit: 54⅜ is 54 3/8, and 54-⅜ stays 54-3/8.
        text = re.sub(f"(?<=[0-9]){sign}", f" {fraction} ", text).replace(sign, f"{fraction} ")
    return " ".join(text.lower().split())
