"""Time on screen of a first check and of a dragged corner, in a real Chromium, for photos of 3, 12 and 48 MP.

Usage: python tests/bench/desk_drag.py [--times 1 2 4] [--drags 6] [--photos FOLDER] [--truth PHOTO.truth.json ...]
The demo's first scene is rendered with so many times its pixels a side (4: 48 MP, several minutes; rendered ones are
kept in --photos); `--truth` takes photos with their truth beside them instead, with pages or cards too. Target: a drag,
from letting go to the new verdict on screen, within half of the first check, from the press of its button to the
verdict, with progress shown. Medians; every second drag is a large one, which leaves the square of the grid by which
the wall's lines are left out around the opening. Clocked by the page itself: a busy machine tells on both alike.
"""

from __future__ import annotations

import argparse
import json
import re
import shutil
import statistics
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]
# ruff: noqa: E402
from desk_browser import DEMO, visiting

CORNERS = [[592, 223], [1478, 230], [1457, 1361], [581, 1340]]
# Screen px; on a photo of 3 MP shown whole one is about 2.6 px, 2.7 mm.
SMALL, LARGE = (2, 1), (24, 18)
TILES = "performance.getEntriesByType('resource').some(e => e.name.includes('/tiles/') && e.responseEnd)"
WATCH = """() => {
  const [says, moved] = [document.querySelector('#progress .says'), document.getElementById('moved-says')];
  const deep = {childList: true, characterData: true, subtree: true};
  const ends = () => { window.done ??= performance.now(); };
  window.lines = [];
  const look = () => { const text = says.textContent; if (window.lines.at(-1) !== text) window.lines.push(text); };
  new MutationObserver(look).observe(says, deep);
  const told = () => { if (moved.textContent === 'Measured with these corners.') ends(); };
  new MutationObserver(told).observe(moved, deep);
  const verdict = document.querySelector('[data-part=verdict]');
  new MutationObserver(() => { if (verdict.querySelector('.send, .hold, .unproven') && !window.first) {
    window.first = true; ends(); } }).observe(verdict, deep);
}"""


def photo(times, folder):
    """Return the demo's first photo, or the same scene with more pixels a side."""
    if times == 1:
        return DEMO / "w1.jpg"
    path = folder / f"w1x{times}.jpg"
    if not path.exists():
        from fixtures.make_demo import scenes
        from fixtures.renderer.exif import write_photo
        from fixtures.renderer.render import render

        scene = scenes()[0]
        c = scene.camera
        middle = [(v + 0.5) * times - 0.5 for v in (c.cx, c.cy)]
        camera = replace(
            c, width=c.width * times, height=c.height * times, f_px=c.f_px * times, cx=middle[0], cy=middle[1]
        )
        rgb, truth = render(replace(scene, camera=camera))
        write_photo(folder, path.stem, rgb, truth, quality=90)
    return path


def a_job(folder, times, source):
    """Write a job of the demo's first opening with that photo."""
    shutil.copytree(DEMO / "rules", folder / "larkspur" / "rules")
    shutil.copy(source, folder / "larkspur" / "w1.jpg")
    head, first, *_ = (DEMO / "job.toml").read_text().split("[[opening]]")
    placed = [[round((v + 0.5) * times - 0.5) for v in p] for p in CORNERS]
    assert str(CORNERS) in first
    (folder / "larkspur" / "job.toml").write_text(head + "[[opening]]" + first.replace(str(CORNERS), str(placed)))


def a_job_of(folder, truth_file):
    """Write a job of one photo with its truth: rough corners, wall, reference and depths as there, readings to 1 mm."""
    truth = json.loads(truth_file.read_text())
    (folder / "larkspur").mkdir(parents=True)
    shutil.copy(truth_file.with_name(truth["photo"]), folder / "larkspur" / "w1.jpg")
    wall, kind = truth["wall"].split("-")[0], truth["references"][0]["kind"]
    wide, high = truth["references"][0].get("size_mm", (0, 0))
    given = f'{{ width = "{wide} mm", height = "{high} mm" }}' if kind == "given" else f'"{kind}"'
    offset = truth["edge_offset_mm"]
    offset = offset if isinstance(offset, dict) else dict.fromkeys(("head", "sill", "left", "right"), offset)
    lines = [
        '[job]\nid = "larkspur"\nunits = "mm"\n[[opening]]\nlabel = "W1"',
        f'wall = "{ {"brick": "masonry", "stucco": "render"}.get(wall, wall) }"\nreference = {given}',
        f'photos = [{{ file = "w1.jpg", corners = {truth["rough_corners_px"]} }}]',
        f"edge_offset = {{ {', '.join(f'{side} = {mm}' for side, mm in offset.items())} }}",
    ]
    for group, places in (("width", ("top", "middle", "bottom")), ("height", ("left", "middle", "right"))):
        lines.append(f"[opening.{group}]")
        lines += [f"{place} = {truth['measures_mm'][f'{group}_{place}']:.0f}" for place in places]
    (folder / "larkspur" / "job.toml").write_text("\n".join(lines) + "\n")


def clocked(page, start, until):
    """Return the seconds on the page's clock from `start()` until `until()` gives the time of its end, ms."""
    page.evaluate("window.done = null; window.lines = []")
    began = start()
    for _ in range(6000):  # the page's policy lets no wait of the browser's driver in
        if page.evaluate("window.done !== null"):
            break
        page.wait_for_timeout(50)
    return (until() - began) / 1000


def seen(page, again=False):
    """Return the seconds from opening the page to the photo in it, and (in `again`) of opening it once more."""
    began = time.monotonic()
    if again:
        page.reload()
    page.locator(".corner").first.wait_for(timeout=120_000)
    for _ in range(2400):
        if page.evaluate(
            "performance.getEntriesByType('resource').some(e => e.name.includes('/tiles/') && e.responseEnd)"
        ):
            break
        page.wait_for_timeout(50)
    return time.monotonic() - began


def measured(page, drags):
    """Return the seconds of the first check, of small and of large drags, and the lines of progress of each."""
    page.wait_for_timeout(6000)  # the photo is on screen and the child has its libraries, as when a person looks
    page.evaluate(WATCH)

    def press():
        return page.evaluate(
            "(b) => { const t = performance.now(); b.click(); return t; }",
            page.get_by_role("button", name="Check this job").element_handle(),
        )

    def ended():
        return page.evaluate("window.done")

    first = clocked(page, press, ended)
    lines = [page.evaluate("window.lines")]
    page.get_by_role("button", name="Whole photo").click()
    times = {SMALL: [], LARGE: []}
    sign = {SMALL: 1, LARGE: 1}
    for n in range(drags):
        by = LARGE if n % 2 else SMALL
        corner = page.get_by_role("button", name=re.compile("^Top left corner"))
        box = corner.bounding_box()
        x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
        page.mouse.move(x, y)
        page.mouse.down()
        page.mouse.move(x + sign[by] * (by[0] + n), y + sign[by] * by[1], steps=4)  # no place twice: answers are kept
        sign[by] = -sign[by]
        page.wait_for_timeout(300)

        def release():
            now = page.evaluate("performance.now()")
            page.mouse.up()
            return now

        page.evaluate("document.getElementById('moved-says').textContent = ''")
        times[by].append(clocked(page, release, ended))
        lines.append(page.evaluate("window.lines"))
    return first, times[SMALL], times[LARGE], lines


def main():
    """Command line."""
    p = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    p.add_argument("--times", type=int, nargs="+", default=[1, 2, 4])
    p.add_argument("--drags", type=int, default=6)
    p.add_argument("--photos", type=Path)
    p.add_argument("--truth", type=Path, nargs="+", default=[])
    a = p.parse_args()
    good = True
    with tempfile.TemporaryDirectory() as scratch:
        kept = a.photos or Path(scratch)
        for n, asked in enumerate(a.truth or a.times):
            folder = Path(scratch) / f"desk{n}"
            if a.truth:
                a_job_of(folder, asked)
            else:
                a_job(folder, asked, photo(asked, kept))
            with visiting(folder) as page:
                page.goto("/".join(page.url.split("/", 3)[:3]) + "/job/larkspur/opening/W1")
                shown = [seen(page), seen(page, again=True)]
                first, small, large, lines = measured(page, a.drags)
            near, far = (statistics.median(t) / first for t in (small, large))
            good &= max(near, far) <= 0.5 and all(lines)
            what = asked.name if a.truth else f"{3 * asked * asked} MP"
            print(
                f"{what}: photo on screen in {shown[0]:.1f} s, the next time in {shown[1]:.1f} s; "
                f"first check {first:.2f} s; small drag {statistics.median(small):.2f} s ({near:.2f} of it), "
                f"large {statistics.median(large):.2f} s ({far:.2f})",
                flush=True,
            )
            for line in lines[1:3]:
                print("   progress:", " | ".join(line))
    sys.exit(0 if good else 1)


if __name__ == "__main__":
    main()
