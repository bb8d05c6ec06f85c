"""Boxes drawn in a real headless Chromium: by mouse, by finger, by keys; and both pages read by axe-core."""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))
from desk_browser import copy_of_demo, visiting

from sizing.jobs.file import load_job
from sizing.pictures.blanking import read_blanks

pytestmark = [pytest.mark.browser]
KEYS = ("x0", "y0", "x1", "y1")


@pytest.fixture(scope="module")
def root(tmp_path_factory):
    return copy_of_demo(tmp_path_factory.mktemp("boxes"))


@pytest.fixture(scope="module")
def page(root):
    with visiting(root, has_touch=True) as page:
        yield page


@pytest.fixture
def boxes(page):
    page.goto("/".join([*page.url.split("/")[:3], "job/demo/opening/W2/boxes"]))
    page.wait_for_selector("#tiles image")
    page.wait_for_selector("#corners .corner", state="attached")
    return page


def typed(page):
    return [float(page.input_value(f"#{key}") or "nan") for key in KEYS]


def place(page, x, y):
    """Return where a pixel of the photo is on the screen; by the SVG's own matrix."""
    return page.evaluate(
        "([x, y]) => { const p = new DOMPoint(x, y).matrixTransform(document.getElementById('view').getScreenCTM());"
        " return [p.x, p.y]; }",
        [x, y],
    )


def test_a_box_pulled_by_the_mouse_is_where_it_was_pulled_and_is_saved_as_an_obstacle(boxes, root):
    boxes.click("[data-do=draw]")
    boxes.mouse.move(*place(boxes, 300, 250))
    boxes.mouse.down()
    boxes.mouse.move(*place(boxes, 200, 400))
    boxes.mouse.move(*place(boxes, 120, 700))
    boxes.mouse.up()
    # a screen pixel is about 4 of the photo
    assert typed(boxes) == pytest.approx([120, 250, 300, 700], abs=6)
    was = typed(boxes)
    boxes.fill("#what", "downpipe")
    boxes.click("text=Save this box")
    boxes.wait_for_selector("li:has-text('downpipe')")
    (one,) = load_job(root / "demo" / "job.toml").openings[1].obstacles
    assert [*one.outline_px[0], *one.outline_px[2]] == was


def test_a_finger_draws_while_drawing_and_the_photo_stays(boxes):
    boxes.click("[data-do=in]")
    before = boxes.get_attribute("#view", "viewBox")
    boxes.click("[data-do=draw]")
    touch = boxes.context.new_cdp_session(boxes)
    for kind, at in (("touchStart", (600, 400)), ("touchMove", (700, 550)), ("touchMove", (900, 700))):
        x, y = place(boxes, *at)
        touch.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": [{"x": x, "y": y}]})
    touch.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    assert typed(boxes) == pytest.approx([600, 400, 900, 700], abs=6)
    assert boxes.get_attribute("#view", "viewBox") == before
    assert boxes.get_attribute("[data-do=draw]", "aria-pressed") == "false"


def test_keys_alone_place_a_box_and_it_is_blanked_out(boxes, root):
    boxes.focus("[data-do=middle]")
    boxes.keyboard.press("Enter")
    x0, y0, x1, y1 = typed(boxes)
    boxes.keyboard.press("Shift+ArrowLeft")
    boxes.keyboard.press("Tab")
    boxes.keyboard.press("ArrowDown")
    assert typed(boxes) == [x0 - 10, y0, x1, y1 + 1]
    assert "Bottom right corner of the box" in boxes.inner_text("#said")
    boxes.focus("[name=kind][value=blank]")
    boxes.keyboard.press("Space")
    boxes.focus("#x0")
    boxes.keyboard.press("Enter")
    boxes.wait_for_selector("button:has-text('the blank at')")
    assert [b.box_px for b in read_blanks(root / "demo")] == [(x0 - 10, y0, x1, y1 + 1)]
    boxes.click("button:has-text('the blank at')")
    boxes.wait_for_selector("text=Nothing yet: think of faces")
    assert read_blanks(root / "demo") == ()


def test_a_slip_of_the_mouse_makes_no_box(boxes):
    boxes.click("[data-do=draw]")
    boxes.mouse.click(*place(boxes, 300, 250))
    assert boxes.input_value("#x0") == ""
    assert "too small" in boxes.inner_text("#said")


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [768, 1200])
@pytest.mark.parametrize("path", ["job/demo/opening/W2/boxes", "job/demo/papers"])
def test_axe_finds_nothing_and_nothing_is_wider_than_the_window(page, path, scheme, width):
    # axe-core (Deque, MPL-2.0), rules tagged for WCAG 2.0 to 2.2, levels A and AA.
    package = pytest.importorskip("axe_playwright_python", reason="pip install axe-playwright-python")
    page.emulate_media(color_scheme=scheme)
    page.set_viewport_size({"width": width, "height": 900})
    page.goto("/".join([*page.url.split("/")[:3], path]))
    page.evaluate((Path(package.__file__).parent / "axe.min.js").read_text() + "; undefined")
    tags = '{type: "tag", values: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}'
    found = page.evaluate(f"axe.run(document, {{runOnly: {tags}}}).then(r => r.violations)")
    assert [(v["id"], [n["html"] for n in v["nodes"]]) for v in found] == []
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
