"""The desk in a real headless Chromium. Skipped where there is none, or no Playwright, with the reason."""

import shutil
import sys
import tomllib
from pathlib import Path

import pypdf
import pytest

sys.path.insert(0, str(Path(__file__).parent))
from desk_browser import DEMO, copy_of_demo, visiting

pytestmark = [pytest.mark.browser]


@pytest.fixture(scope="module")
def root(tmp_path_factory):
    return copy_of_demo(tmp_path_factory.mktemp("desk"))


@pytest.fixture(scope="module")
def page(root):
    with visiting(root) as one:
        yield one


def home(page):
    page.goto(page.url.split("/", 3)[0] + "//" + page.url.split("/", 3)[2] + "/")


def test_a_job_is_taken_in_photos_first_then_readings_without_retyping(page, root):
    home(page)
    page.get_by_role("link", name="New job").first.click()
    page.get_by_label("Name of the job").fill("larch-1")
    page.get_by_label("Openings", exact=True).fill("K1, K2")
    page.get_by_label("Photos of all openings").set_input_files([DEMO / "w1.jpg", DEMO / "w2.jpg"])
    page.get_by_role("button", name="Make the job").click()
    assert "Pre-quote, not for ordering" in page.inner_text("main")
    assert "2 photos are not used" in page.inner_text("#photos")

    page.locator("li[data-photo='w1.jpg']").last.drag_to(page.locator("[data-drop='K1']"))
    page.wait_for_selector("[data-drop='K1'] li[data-photo='w1.jpg']")
    page.locator("#photos li[data-photo='w2.jpg']").get_by_label("Shows").select_option("K2")
    page.locator("#photos li[data-photo='w2.jpg']").get_by_role("button", name="Set").click()
    job = tomllib.loads((root / "larch-1" / "job.toml").read_text())
    assert [o.get("photos") for o in job["opening"]] == [["w1.jpg"], ["w2.jpg"]]

    first = page.locator("[data-drop='K1']")
    first.get_by_label("Width, top").fill("35 13/16")
    page.locator("#o1-wt-says", has_text="thirty-five and thirteen sixteenths inches (909.6 mm)").wait_for()
    first.get_by_label("Width, middle").fill("54 3")
    page.locator("#o1-wm-says.bad").wait_for()
    assert "can be read as" in page.inner_text("#o1-wm-says")
    first.get_by_label("Width, middle").fill("36")
    first.get_by_role("button", name="Save readings of K1").click()
    job = tomllib.loads((root / "larch-1" / "job.toml").read_text())
    assert job["opening"][0]["width"] == {"top": "35 13/16", "middle": "36"}
    assert job["opening"][0]["photos"] == ["w1.jpg"]


def test_typed_text_is_not_dropped_unasked_when_another_form_is_saved(page):
    """The fact of the office: a form that was not saved is lost with the page, so the browser asks before."""
    home(page)
    page.goto(page.url + "job/demo")
    asked = []

    def stay(dialog):
        asked.append(dialog.type)
        dialog.dismiss()

    page.on("dialog", stay)
    for label, quantity in (("W2", "2"), ("W1", "3")):
        page.locator(f"[data-drop='{label}']").get_by_text("Wall, rule, order").click()
        page.locator(f"[data-drop='{label}']").get_by_label("Quantity").fill(quantity)
    page.locator("[data-drop='W1']").get_by_role("button", name="Save facts of W1").click(no_wait_after=True)
    for _ in range(200):
        page.wait_for_timeout(100)
        if asked:
            break
    assert asked == ["beforeunload"]
    assert page.locator("[data-drop='W2']").get_by_label("Quantity").input_value() == "2"
    page.remove_listener("dialog", stay)
    page.locator("[data-drop='W2']").get_by_label("Quantity").fill("1")


def test_a_checked_opening_is_released_and_its_files_come_down(page, root):
    whole = (root / "demo" / "job.toml").read_text()
    one = root / "one"
    one.mkdir()
    (one / "job.toml").write_text(whole[: whole.index("[[opening]]", whole.index("[[opening]]") + 1)])
    (one / "w1.jpg").write_bytes((DEMO / "w1.jpg").read_bytes())
    shutil.copytree(DEMO / "rules", one / "rules")
    home(page)
    page.goto(page.url + "job/one")
    page.get_by_role("button", name="Run the check").click()
    page.locator(".tally", has_text="may be ordered").wait_for(timeout=100_000)
    page.get_by_role("link", name="W1", exact=True).first.click()
    page.get_by_label("It may be ordered, as the check says").check()
    page.get_by_label("Yes, photo and sheets belong to W1").check()
    page.get_by_label("Your name").fill("A. Desk")
    page.get_by_label("Reason").fill("photo and sheets looked at")
    page.get_by_role("button", name="Record the decision").click()
    page.get_by_text("Stands:").wait_for()
    page.get_by_role("link", name="Release what may be ordered of this job").click()
    page.get_by_role("button", name="Check and release").click()
    page.get_by_role("cell", name="37 1/4 in").first.wait_for(timeout=100_000)
    with page.expect_download() as coming:
        page.get_by_role("link", name="PDF").first.click()
    assert coming.value.suggested_filename.endswith(".pdf")
    assert Path(coming.value.path()).read_bytes().startswith(b"%PDF-")
    start = "/".join(page.url.split("/", 3)[:3])
    page.goto(f"{start}/job/one/papers")
    page.get_by_role("button", name="Check and make the report").click()
    page.get_by_role("link", name="Report as PDF").wait_for(timeout=100_000)
    with page.expect_download() as coming:
        page.get_by_role("link", name="Report as PDF").click()
    printed = pypdf.PdfReader(coming.value.path())
    assert "W1" in printed.pages[0].extract_text()
    page.get_by_role("link", name="This job in the log").click()
    page.locator("tbody tr").first.get_by_role("link").last.click()
    assert "W1" in page.inner_text("main")


def test_a_label_that_is_a_script_is_shown_and_never_run(page, root):
    folder = root / "hostile"
    folder.mkdir()
    label = "<img src=x onerror=alert(1)>'\\\"]{{7*7}}"
    (folder / "job.toml").write_text(
        '[job]\nid = "<script>alert(2)</script>"\nunits = "in"\nnote = "</textarea><script>alert(3)</script>"\n'
        f"[[opening]]\nlabel = '''{label}'''\nwall = \"masonry\"\nnote = '<b onclick=alert(4)>'\n"
    )
    said = []
    page.on("dialog", lambda dialog: (said.append(dialog.message), dialog.dismiss()))
    home(page)
    page.get_by_role("link", name="<script>alert(2)</script>").click()
    assert label in page.inner_text("main")
    assert page.locator("main script, main b, main img[src=x]").count() == 0
    assert said == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_against_wcag_on_the_pages_of_intake(page, root, scheme):
    # axe-core (Deque, MPL-2.0), rules tagged for WCAG 2.0 to 2.2, levels A and AA.
    package = pytest.importorskip("axe_playwright_python", reason="pip install axe-playwright-python")
    axe = (Path(package.__file__).parent / "axe.min.js").read_text()
    tags = "['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa']"
    home(page)
    page.emulate_media(color_scheme=scheme)
    start = page.url
    for path in ("", "new", "import", "job/demo", "job/demo/release", "job/none"):
        page.goto(start + path)
        page.evaluate("for (const d of document.querySelectorAll('details')) d.open = true")
        page.evaluate(axe + "; undefined")
        found = page.evaluate(f"axe.run(document, {{runOnly: {tags}}}).then(r => r.violations)")
        assert [(v["id"], [n["html"] for n in v["nodes"]][:3]) for v in found] == [], path
