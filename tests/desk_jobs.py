"""A desk with jobs in its folder, for tests: served without a browser, and what is read off its pages."""

import io
import re
import time
from contextlib import contextmanager
from pathlib import Path

from PIL import Image
from starlette.testclient import TestClient

from sizing.desk.app import create_app

DEMO = Path(__file__).parent.parent / "fixtures" / "demo"
BASE = "http://127.0.0.1:8731"
BARE = '[job]\nid = "{id}"\nunits = "in"\nmeasured_by = "{by}"\n[[opening]]\nlabel = "W1"\nwall = "masonry"\n'
TYPED = BARE + '[opening.width]\ntop = "36"\nmiddle = "36"\nbottom = "36"\n'
HOSTILE = "</script><img src=x onerror=alert(1)>\"'{{7*7}}"


@contextmanager
def served(root):
    """Serve a desk on a folder to a client that has been let in and knows the folder as `root`."""
    app = create_app(root, "key-for-tests", 8731)
    client = TestClient(app, base_url=BASE, headers={"origin": BASE})
    client.get("/?key=key-for-tests")
    client.root = root
    yield client
    app.app.state.desk.runs.close()
    app.app.state.desk.decoder.close()


def job(desk, name, text=None):
    folder = desk.root / name
    folder.mkdir(parents=True)
    (folder / "job.toml").write_text(text or TYPED.format(id=name, by="crew 1"))
    return folder


def sha(page):
    return re.search(r'name="sha256" value="(\w+)"', page)[1]


def jpeg(colour, size=(800, 600)):
    stream = io.BytesIO()
    Image.effect_noise(size, 40).convert("RGB").point(lambda v: (v + colour) % 256).save(stream, "JPEG")
    return stream.getvalue()


def finished(desk, page):
    run = re.search(r'data-run="(\w+)"', page)[1]
    for _ in range(1200):
        state = desk.get(f"/run/{run}").json()
        if state["state"] in ("done", "failed"):
            return state
        time.sleep(0.05)
    raise AssertionError(state)
