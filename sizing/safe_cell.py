"""Text as a cell of a table that no spreadsheet takes for a formula."""

from __future__ import annotations

import re

from sizing.messages.one_line import one_line

# What spreadsheets take for the start of a formula, at the start of a cell or behind what may part cells.
_FORMULA = re.compile(r"""(^|[;,|"'\t])(\s*)(?=[=+\-@＝＋－＠])""")


def safe_cell(text: str) -> str:
    """Return text that no spreadsheet takes for a formula, on one line.

    Examples
    --------
    >>> safe_cell("=1+1"), safe_cell("54 3/8 in"), safe_cell("a;=b")
    ("'=1+1", '54 3/8 in', "a;'=b")
    """
    return _FORMULA.sub(r"\1\2'", one_line(text))
