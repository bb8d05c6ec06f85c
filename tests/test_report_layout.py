"""Facts about how a report is laid out in lines and pages; plain counting is the oracle."""

from sizing.printed.pdfpage import wrapped
from sizing.report.layout import Block, lines_of, paginated


def test_a_long_word_is_broken_and_nothing_of_it_lost():
    lines = lines_of("ab " + "x" * 300 + " cd", 8.0, 40.0)
    assert "".join(lines).replace(" ", "") == "ab" + "x" * 300 + "cd"


def test_no_line_ends_within_a_length_where_the_length_fits_a_line():
    text = "In 4 panels: 18 29/32 in, 18 29/32 in, 54.3543 in, 1381.1 mm, 3/8 in and 1406 mm; 2 x 4 boards in all."
    lengths = ["18 29/32 in,", "54.3543 in,", "1381.1 mm,", "3/8 in", "1406 mm;"]
    for width in range(20, 120):
        lines = wrapped(text, 7.8, float(width))
        assert " ".join(lines) == text  # nothing lost
        said = "\n".join(lines)
        assert [said.count(length) for length in lengths] == [2, 1, 1, 1, 1], width
    # in a column narrower than the length there is no other way; nothing leaves the column
    assert wrapped("18 29/32 in", 7.8, 9.0) == ["18", "29/32", "in"]
    long = "1" * 100_000 + " in"
    assert wrapped(long, 7.8, 50.0) == ["1" * 100_000, "in"]


def test_a_heading_does_not_stand_alone_at_the_foot_of_a_page():
    def block(height, leads=False):
        return Block(height, lambda page, y: None, leads)

    pages = paginated([block(80), block(10, leads=True), block(30)], 100)
    assert [len(page) for page in pages] == [1, 2]
    assert [len(page) for page in paginated([block(150), block(10)], 100)] == [1, 1]
