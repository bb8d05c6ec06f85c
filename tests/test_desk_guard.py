"""Who may ask the desk, over real HTTP semantics (Starlette's test client on the ASGI app)."""

import pytest
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import PlainTextResponse
from starlette.routing import Route
from starlette.testclient import TestClient

from sizing.desk.guard import HEADERS, Guard, new_token

PORT, BASE = 8731, "http://127.0.0.1:8731"


def client(**given):
    async def page(request: Request):
        return PlainTextResponse("fine")

    app = Starlette(routes=[Route("/", page, methods=["GET", "POST"])])
    return TestClient(Guard(app, "the-first-key", PORT), base_url=given.get("base", BASE))


def welcomed():
    c = client()
    assert c.get("/?key=the-first-key").text == "fine"
    return c


def test_the_first_address_is_exchanged_for_a_strict_cookie_that_scripts_cannot_read():
    answer = client().get("/?key=the-first-key", follow_redirects=False)
    assert answer.status_code == 303
    assert answer.headers["location"] == "/"
    cookie = answer.headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=strict" in cookie


def test_the_token_works_once():
    c = welcomed()
    c.cookies.clear()
    assert c.get("/?key=the-first-key").status_code == 403


@pytest.mark.parametrize("url", ["/", "/?key=", "/?key=guess"])
def test_without_token_or_cookie_nothing_is_shown(url):
    answer = client().get(url)
    assert answer.status_code == 403
    assert "fine" not in answer.text


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1", "127.0.0.1:9999", "localhost.evil.example:8731", ""])
def test_another_host_or_port_is_refused_though_the_cookie_is_right(host):
    assert welcomed().get("/", headers={"host": host}).status_code == 403


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({"origin": BASE}, 200),
        ({"origin": "http://localhost:8731"}, 200),
        ({"sec-fetch-site": "same-origin"}, 200),
        ({}, 403),
        ({"origin": "null"}, 403),
        ({"origin": "null", "sec-fetch-site": "same-origin"}, 200),
        ({"origin": "null", "sec-fetch-site": "cross-site"}, 403),
        ({"origin": "http://evil.example"}, 403),
        ({"origin": "http://127.0.0.1:9999"}, 403),
        ({"sec-fetch-site": "cross-site"}, 403),
        ({"sec-fetch-site": "same-site"}, 403),
        ({"origin": "http://evil.example", "sec-fetch-site": "same-origin"}, 403),
    ],
)
def test_a_change_must_come_from_the_desks_own_page(headers, status):
    assert welcomed().post("/", headers=headers).status_code == status


def test_every_answer_carries_the_headers_also_a_refusal():
    for answer in (welcomed().get("/"), client().get("/")):
        assert {k: answer.headers[k] for k in HEADERS} == HEADERS
    policy = HEADERS["content-security-policy"]
    assert policy.startswith("default-src 'none'")
    assert "unsafe" not in policy


def test_tokens_are_long_and_never_alike():
    assert len({new_token() for _ in range(100)}) == 100
    assert len(new_token()) >= 43
