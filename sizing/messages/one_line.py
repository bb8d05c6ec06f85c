"""Text from outside (labels, file names, reasons) as it is shown: on one line, without control characters."""

from __future__ import annotations

from pathlib import PurePath


def one_line(text: str) -> str:
    r"""Return text from outside without control characters, on one line.

    Examples
    --------
    >>> one_line("W1\x1b[31m\n")
    'W1?[31m'
    """
    return " ".join(_printable(text).split())


def clipped(text: str, most: int = 100) -> str:
    """Return text from outside on one line of a list, at most `most` characters long.

    Examples
    --------
    >>> clipped("crew 2"), clipped("crew 2 and all of theirs", 9)
    ('crew 2', 'crew 2...')
    """
    line = one_line(text[: 4 * most])
    return line if len(line) <= most else line[: most - 3] + "..."


def file_name(name: str) -> str:
    r"""Return the name of a file as shown: on one line, at most 80 characters.

    Examples
    --------
    >>> file_name("a\nb.jpg")
    'a b.jpg'
    """
    return one_line(name if len(name) <= 80 else name[:77] + "...")


def place(path: PurePath) -> str:
    r"""Return a path as shown: whole and to be copied, but without what would break the line or steer the terminal.

    Examples
    --------
    >>> from pathlib import PurePosixPath
    >>> place(PurePosixPath("jobs/oak  st\n\x1b[31m/secondtape"))
    'jobs/oak  st ?[31m/secondtape'
    """
    return _printable(str(path))


def about_file(says: str, name: str) -> str:
    """Return what is said of a file on one line, its name in there as `file_name` shows it.

    Examples
    --------
    >>> len(about_file("n" * 5000 + ".jpg: cannot be read", "n" * 5000 + ".jpg"))
    96
    """
    line, whole = one_line(says), one_line(name)
    return line.replace(whole, file_name(name)) if len(whole) > len(file_name(name)) else line


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


def _printable(text: str) -> str:
    return "".join(c if c.isprintable() else (" " if c.isspace() else "?") for c in text)
