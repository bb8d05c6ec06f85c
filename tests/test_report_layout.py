"""Facts about how a report is laid out in lines and pages; plain counting is the oracle."""

from sizing.report.layout import Block, lines_of, paginated


def test_a_long_word_is_broken_and_nothing_of_it_lost():
    lines = lines_of("ab " + "x" * 300 + " cd", 8.0, 40.0)
    assert "".join(lines).replace(" ", "") == "ab" + "x" * 300 + "cd"


def test_a_heading_does_not_stand_alone_at_the_foot_of_a_page():
    def block(height, leads=False):
        return Block(height, lambda page, y: None, leads)

    pages = paginated([block(80), block(10, leads=True), block(30)], 100)
    assert [len(page) for page in pages] == [1, 2]
    assert [len(page) for page in paginated([block(150), block(10)], 100)] == [1, 1]
