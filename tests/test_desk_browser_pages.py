"""A photo with pages on the desk's page of an opening, in a real headless Chromium."""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))
from desk_browser import visiting

pytestmark = [pytest.mark.browser]


def test_corners_of_a_page_wait_until_the_check_has_looked_for_it_and_stand_where_it_was_found(tmp_path):
    """The renderer says where the pages are; nobody pointed at them."""
    from fixtures.renderer.exif import write_photo
    from tests.test_page_find import photo

    rgb, truth, pages = photo(width=1280)
    folder = tmp_path / "larkspur"
    folder.mkdir()
    write_photo(folder, "w1", rgb, truth, quality=90)
    (folder / "job.toml").write_text(
        '[job]\nid = "larkspur"\nunits = "mm"\n[[opening]]\nlabel = "W1"\nwall = "masonry"\nreference = "letter"\n'
        f'photos = [{{ file = "w1.jpg", corners = {truth["rough_corners_px"]}, focal35 = 26 }}]\n'
    )
    reference = "[...document.querySelectorAll('.corner.reference')].filter((c) => !c.hasAttribute('hidden')).length"
    outline = "document.querySelector('.quad.reference').getAttribute('points')"
    with visiting(tmp_path) as page:
        page.goto("/".join(page.url.split("/", 3)[:3]) + "/job/larkspur/opening/W1")
        page.locator(".corner").first.wait_for()
        assert page.evaluate(reference) == 0
        page.get_by_role("button", name="Check this job").click()
        page.locator("#verdict-head .mark.unproven").wait_for(timeout=120_000)
        for _ in range(600):
            if page.evaluate(reference):
                break
            page.wait_for_timeout(50)
        assert page.evaluate(reference) == 4
        found = [[float(v) for v in p.split(",")] for p in page.evaluate(outline).split()]
        assert any(
            max(abs(a - b) for p, q in zip(found, at, strict=True) for a, b in zip(p, q, strict=True)) < 2
            for at in pages
        )
