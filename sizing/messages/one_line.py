"""Text from outside (labels, file names, reasons) as it is shown: on one line, without control characters."""

from __future__ import annotations


def one_line(text: str) -> str:
    r"""Return text from outside without control characters, on one line.

    Examples
    --------
    >>> one_line("W1\x1b[31m\n")
    'W1?[31m'
    """
    return " ".join("".join(c if c.isprintable() else (" " if c.isspace() else "?") for c in text).split())


def file_name(name: str) -> str:
    r"""Return the name of a file as shown: on one line, at most 80 characters.

    Examples
    --------
    >>> file_name("a\nb.jpg")
    'a b.jpg'
    """
    return one_line(name if len(name) <= 80 else name[:77] + "...")


def sentence(text: str) -> str:
    """Return text on one line that begins with a capital and ends with a full stop.

    Examples
    --------
    >>> sentence("no sheet was found; add one")
    'No sheet was found; add one.'
    """
    line = one_line(text)
    if line.split(" ", 1)[0].isalpha():  # a file name stays as it is
        line = line[:1].upper() + line[1:]
    return line + ("" if line.endswith((".", "?", "!")) else ".")
