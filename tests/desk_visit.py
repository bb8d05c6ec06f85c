"""A desk that is visited without a browser, and a small copy of the demo's second opening in its folder."""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from PIL import Image
from starlette.testclient import TestClient

from sizing.desk.app import create_app

DEMO = Path(__file__).parents[1] / "fixtures" / "demo"
SHARE = 0.6  # of the demo's photo in width and height


def write_smaller(photo: str, folder: Path) -> None:
    """Write a photo of the demo into `folder`, made smaller."""
    with Image.open(DEMO / photo) as image:
        image.resize((1229, 922)).save(folder / photo, quality=92, exif=image.info["exif"])


def smaller(corners: str) -> str:
    """Return a text of the demo's job with all corners as they are in the photos made smaller."""
    return re.sub(
        r"\[(\d+), (\d+)\]", lambda at: f"[{round(int(at[1]) * SHARE)}, {round(int(at[2]) * SHARE)}]", corners
    )


def second_opening(folder: Path) -> str:
    """Write rules, the photo of W2 made smaller, and `job.toml` with W2 alone into `folder`; return its text."""
    shutil.copytree(DEMO / "rules", folder / "rules")
    write_smaller("w2.jpg", folder)
    head, _, second, *_ = (DEMO / "job.toml").read_text().split("[[opening]]")
    text = head + "[[opening]]" + smaller(second)
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
