"""What a report notes of an opening. Oracle: the words of README and the units of the job."""

from __future__ import annotations

from sizing.messages.report_to_do import photo_unused, superseded


def test_a_photo_that_gave_nothing_is_named_once_with_the_reason():
    assert photo_unused("photos/w1.jpg", "no sheet was found") == "photos/w1.jpg: no sheet was found."
    assert photo_unused("w1.jpg", "w1.jpg cannot be read") == "w1.jpg cannot be read."


def test_a_replaced_reading_is_told_with_its_size():
    assert superseded("width_top", "48 1/4 in") == "Replaced by a later visit: width, top, 48 1/4 in."
