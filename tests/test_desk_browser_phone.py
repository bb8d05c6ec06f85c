"""The desk on a phone in a real headless Chromium: 390 px wide (common practice, no source)."""

import pytest

from sizing.check import check_job
from sizing.result.document import job_document
from sizing.saving import save_run
from tests.desk_browser import visiting
from tests.desk_visit import second_opening

pytestmark = [pytest.mark.browser]

WIDE = 390
# All that reaches beyond the screen, but for what is drawn within the photo and what is for readers of screens alone.
BEYOND = """[...document.querySelectorAll('main *')].filter((e) => {
  const at = e.getBoundingClientRect();
  return at.width > 0 && (at.right > innerWidth + 1 || at.left < -1) && !e.closest('#view') && !e.closest('thead');
}).map((e) => e.tagName + '.' + e.className)"""
CUT = """[...document.querySelectorAll('.wide, fieldset')].filter((e) => e.scrollWidth > e.clientWidth + 1).length"""
# Words over the photo of which a part lies outside the window onto it, though their place is in it.
WORDS_CUT = """(() => {
  const view = document.querySelector('#view').getBoundingClientRect();
  const words = [...document.querySelectorAll('#drawing .words text')].filter((t) => t.getBoundingClientRect().width);
  const out = words.filter((t) => {
    const at = t.getBoundingClientRect();
    return at.left < view.left - 1 || at.right > view.right + 1;
  });
  return [words.length, out.map((t) => t.textContent)];
})()"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A desk's folder with a checked job, one reading of which holds a slip."""
    root = tmp_path_factory.mktemp("phone")
    second_opening(root / "larkspur")
    result = check_job(root / "larkspur")
    assert save_run(result, job_document(result), out=None, pictures=False)[0]
    return root


def test_on_a_phone_no_page_is_wider_than_the_screen_and_no_table_or_field_is_cut(folder):
    with visiting(folder) as page:
        page.set_viewport_size({"width": WIDE, "height": 844})
        base = "/".join(page.url.split("/", 3)[:3])
        for at in ("", "/job/larkspur", "/job/larkspur/opening/W2", "/job/larkspur/opening/W2/boxes", "/log"):
            page.goto(base + at)
            page.locator("main").wait_for()
            assert page.evaluate("document.documentElement.scrollWidth") == WIDE, at
            assert page.evaluate(BEYOND) == [], at
            assert page.evaluate(CUT) == 0, at


def test_on_a_phone_photo_figure_and_chance_of_each_reading_stand_beside_its_tape(folder):
    with visiting(folder) as page:
        page.set_viewport_size({"width": WIDE, "height": 844})
        page.goto("/".join(page.url.split("/", 3)[:3]) + "/job/larkspur/opening/W2")
        row = page.locator("table.readings tbody.differs").first
        seen = row.inner_text()
        assert "about" in seen
        assert "within:" in seen
        tape, photo = (row.locator("td").nth(i).bounding_box() for i in (0, 1))
        assert tape["x"] + tape["width"] <= photo["x"] + 1
        assert abs(tape["y"] - photo["y"]) < 2
        within = row.get_by_text("within:").bounding_box()
        assert max(photo["x"] + photo["width"], within["x"] + within["width"]) < WIDE


def test_words_over_the_photo_are_not_cut_by_its_rim_on_a_phone(folder):
    with visiting(folder) as page:
        page.set_viewport_size({"width": WIDE, "height": 844})
        page.goto("/".join(page.url.split("/", 3)[:3]) + "/job/larkspur/opening/W2")
        page.locator(".corner").first.wait_for()
        for press in ("Whole photo", "Opening"):
            page.get_by_role("button", name=press).click()
            shown, cut = page.evaluate(WORDS_CUT)
            assert shown > 0
            assert cut == []
