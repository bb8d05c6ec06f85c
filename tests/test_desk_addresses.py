"""Every job and opening at the desk can be reached: addresses over the real application.

Oracle for what a browser makes of an address: WHATWG URL, *path state*; httpx follows RFC 3986, 5.2.4, to the same end.
"""

import re
from itertools import pairwise
from urllib.parse import quote

import pytest
from starlette.routing import Route

from sizing.desk.addresses import WORDS, job_name, job_path, label_problems
from tests.desk_jobs import BARE, job, jpeg, served

HEAD = '[job]\nid = "h"\nunits = "in"\n'
OPENING = '[[opening]]\nlabel = "{}"\nwall = "masonry"\n'
NESTED = [
    f"nest/{word}" for word in (*WORDS, "readings.csv", "readings.jobs", "boxes", "~papers", "~~papers", "a ?#%b")
]
NESTED += ["nest/photo/360", "o/opening/W1", "opening/papers", "papers/release/papers"]
JOBS = ["nest", "o", "papers", *NESTED]
UNREACHABLE = [".", "..", "a/boxes", "a/../b", "./a", "a/.", "/boxes"]
REACHABLE = [
    "boxes",
    "opening",
    "W1/check",
    "a/b",
    "a//b",
    "a/",
    "...",
    "a..b",
    "boxes/a",
    "x?y#z",
    "~a",
    "a\\b",
]


def photo_of(name):
    return "a.jpg" if name in ("nest", "o", "papers") else "opening/a.jpg"


@pytest.fixture(scope="module")
def desk(tmp_path_factory):
    with served(tmp_path_factory.mktemp("desk")) as client:
        client.app.app.state.desk.runs.start = lambda *args: "no run"  # nothing here waits for a check
        for i, name in enumerate(JOBS):
            photo = client.root / name / photo_of(name)
            photo.parent.mkdir(parents=True, exist_ok=True)
            photo.write_bytes(jpeg(40))
            text = BARE.format(id=f"job number {i}", by="") + f'photos = ["{photo_of(name)}"]\n'
            (client.root / name / "job.toml").write_text(text)
        yield client


@pytest.fixture(scope="module")
def addresses(desk):
    """Address by id of every job, as the list of jobs has them."""
    return {id_: at for at, id_ in re.findall(r'<a href="(/job/[^"]+)">(job number \d+)</a>', desk.get("/").text)}


def test_all_words_behind_a_jobs_name_are_kept_from_names(desk):
    behind = set()
    for route in desk.app.app.routes:
        if isinstance(route, Route) and route.path.startswith("/job/{"):
            parts = route.path.split("/")
            behind |= {word for name, word in pairwise(parts) if name.endswith(":job}")}
            assert parts[2].endswith(":job}") or len(parts) == 3, route.path
    assert behind - {"readings.{kind}"} == set(WORDS)


@pytest.mark.parametrize("name", JOBS)
def test_every_page_of_a_job_is_its_own_whatever_its_folder_is_named(desk, addresses, name):
    id_ = f"job number {JOBS.index(name)}"
    at = addresses[id_]
    title = f">{id_}<"
    assert title in desk.get(at).text
    assert title in desk.get(f"{at}/opening/W1").text
    assert title in desk.get(f"{at}/opening/W1/boxes").text
    assert id_ in desk.get(f"{at}/papers").text
    assert id_ in desk.get(f"{at}/release").text
    assert desk.get(f"{at}/photo/360/{photo_of(name)}").headers["content-type"] == "image/jpeg"
    assert f'filename="{id_.replace(" ", "-")}' in desk.get(f"{at}/readings.csv").headers["content-disposition"]
    for word in ("check", "propose"):
        answer = desk.post(f"{at}/{word}", follow_redirects=False)
        assert answer.headers["location"].startswith(f"{at}#"), word
    answer = desk.post(f"{at}/facts", data={"note": f"note of {name}"}, follow_redirects=False)
    assert answer.headers["location"].startswith(f"{at}#")
    assert f"note of {name}" in (desk.root / name / "job.toml").read_text()


def test_no_two_jobs_share_a_name(desk, addresses):
    assert len(addresses) == len(set(addresses.values())) == len(JOBS)


@pytest.mark.parametrize("path", ["a", "papers", "~a", "a/b/c", *NESTED, "a/~", "a/~~/papers", "~/~/readings.x"])
def test_a_name_leads_back_to_its_path(path):
    assert job_path(job_name(path)) == path


@pytest.mark.parametrize("label", UNREACHABLE)
def test_a_label_that_no_address_can_hold_is_refused_wherever_it_comes_from(desk, label):
    name = f"label-{UNREACHABLE.index(label)}"
    folder = job(desk, name, HEAD + OPENING.format("a") + OPENING.format(label))
    page = desk.get(f"/job/{name}")
    assert page.status_code == 200
    assert f"opening &#39;{label}&#39;: can have no page at the desk" in page.text
    (folder / "job.toml").write_text(HEAD + OPENING.format("a"))
    before = sorted(desk.root.iterdir())
    new = {"id": f"new-{name}", "units": "in", "labels": f"a, {label}", "wall": "masonry"}
    for where, data, files in (
        ("/new", new, None),
        (f"/job/{name}/openings", {"label": label, "wall": "masonry"}, None),
        ("/import", {"job": name}, {"file": ("x.csv", f"Opening,Width top\n{label},36\n".encode())}),
        ("/import/confirm", {"job": name, "rows": f'[[1,"{label}",{{}},{{}}]]', "units": "in"}, None),
    ):
        answer = desk.post(where, data=data, files=files)
        assert "can have no page at the desk" in answer.text, where
        assert "/import/confirm" not in answer.text
    assert (folder / "job.toml").read_text() == HEAD + OPENING.format("a")
    assert sorted(desk.root.iterdir()) == before


@pytest.mark.parametrize("label", REACHABLE)
def test_any_other_label_leads_to_its_opening(desk, label):
    name = f"other-{REACHABLE.index(label)}"
    job(desk, name, HEAD + OPENING.format("a") + OPENING.format(label.replace("\\", "\\\\")))
    assert label_problems([label]) == []
    at = re.findall(rf'<h3 id="[^"]+"><a href="(/job/{name}/opening/[^"]+)">', desk.get(f"/job/{name}").text)[1]
    for address in (at, f"/job/{name}/opening/{quote(label, safe='')}"):
        assert f"/ {label}" in re.sub("<[^>]+>", "", desk.get(address).text).replace("&#39;", "'"), address
        assert desk.get(f"{address}/boxes").status_code == 200
