"""What a terminal shows in the end of what was written to it: as much of ECMA-48 as a line that is redrawn needs."""

import re

_PART = re.compile(r"\x1b\[(\??[0-9;]*)([A-Za-z])|([\r\n])|([^\x1b\r\n]+)")


def screen(written):
    """Return the lines on screen; colours and the cursor's look are left out, lines are not wrapped."""
    lines, row, column = [""], 0, 0
    for number, letter, move, text in _PART.findall(written):
        if text:
            line = lines[row].ljust(column)
            lines[row] = line[:column] + text + line[column + len(text) :]
            column += len(text)
        elif move == "\r":
            column = 0
        elif move == "\n":
            row += 1
            lines += [""] * (row == len(lines))
        elif letter == "A":  # CUU
            row -= int(number or 1)
        elif letter == "K":  # EL
            assert number == "2"
            lines[row] = ""
        else:
            assert letter in "mhl"
    return lines
