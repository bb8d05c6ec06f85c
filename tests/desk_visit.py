"""A desk that is visited without a browser, and a small copy of the demo's second opening in its folder."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from PIL import Image
from starlette.testclient import TestClient

from sizing.desk.app import create_app

DEMO = Path(__file__).parents[1] / "fixtures" / "demo"
SHARE = 0.6  # of the demo's photo in width and height
CORNERS = ("505, 326", "1542, 318", "1563, 1221", "519, 1253")


def second_opening(folder: Path) -> str:
    """Write rules, the photo of W2 made smaller, and `job.toml` with W2 alone into `folder`; return its text."""
    shutil.copytree(DEMO / "rules", folder / "rules")
    with Image.open(DEMO / "w2.jpg") as image:
        image.resize((1229, 922)).save(folder / "w2.jpg", quality=92, exif=image.info["exif"])
    head, _, second, *_ = (DEMO / "job.toml").read_text().split("[[opening]]")
    for x in CORNERS:
        second = second.replace(x, ", ".join(str(round(int(v) * SHARE)) for v in x.split(", ")))
    text = head + "[[opening]]" + second
    (folder / "job.toml").write_text(text)
    return text


@contextmanager
def visited(folder: Path) -> Iterator[TestClient]:
    """Serve a desk on `folder` to a client that has been let in; its child processes end with it."""
    app = create_app(folder, "key-for-tests", 8731)
    client = TestClient(app, base_url="http://127.0.0.1:8731")
    client.get("/?key=key-for-tests")
    yield client
    inner = app.app.state.desk
    inner.runs.close()
    inner.decoder.close()
