"""Who is let in, under which name, from which page, and what the pages may do (limits)."""

from __future__ import annotations

import re
import socket

import pytest
from flask.testing import FlaskClient

from dashboard.access import Access, access_for, is_ours, same_origin
from dashboard.app import create_app
from dashboard.machine import is_loopback
from dashboard.sign_in import Password, Tries, safe_target
from tests.dashboard.fakes import club_services
from tracker.errors import InputError

PASSWORD = "pond and paddle"
PAGE_REQUEST = {"output": "x.children", "outputs": {"id": "x", "property": "children"}, "inputs": [], "changedPropIds": []}


@pytest.fixture
def client() -> FlaskClient:
    client: FlaskClient = create_app(club_services()).server.test_client()
    return client


@pytest.fixture
def guarded() -> FlaskClient:
    client: FlaskClient = create_app(club_services(), Access(password=PASSWORD)).server.test_client()
    return client


@pytest.mark.parametrize("host", ["127.0.0.1", "localhost", "::1", "127.8.8.8"])
def test_this_machine_needs_no_password(host: str) -> None:
    assert is_loopback(host)
    assert access_for(host, None).password is None


@pytest.mark.parametrize("host", ["0.0.0.0", "::", "192.168.1.20", "pits.local"])
def test_beyond_this_machine_a_password_is_demanded(host: str) -> None:
    with pytest.raises(InputError, match="PACK_TRACKER_PASSWORD"):
        access_for(host, None)
    with pytest.raises(InputError, match="PACK_TRACKER_PASSWORD"):
        access_for(host, "")
    with pytest.raises(InputError, match="3 characters"):
        access_for(host, "abc")
    assert access_for(host, PASSWORD).password == PASSWORD


def test_a_foreign_name_pointed_here_is_refused(client: FlaskClient) -> None:
    assert client.get("/healthz", headers={"Host": "evil.example"}).status_code == 400
    assert client.get("/", headers={"Host": "127.0.0.1.evil.example"}).status_code == 400
    assert client.get("/", headers={"Host": "192.168.1.20:8050"}).status_code == 400
    assert client.get("/", headers={"Host": "127.0.0.1:8050"}).status_code == 200


def test_served_beyond_this_machine_it_answers_to_its_own_names_and_numbers() -> None:
    access = access_for("0.0.0.0", PASSWORD)
    assert is_ours("192.168.1.20:8050", access)
    assert is_ours("[fe80::1]:8050", access)
    assert is_ours(socket.gethostname().upper(), access)
    assert not is_ours("evil.example", access)
    assert not is_ours("", access)
    assert not is_ours("[::", access)


@pytest.mark.parametrize(
    ("origin", "fetch_site", "fine"),
    [
        (None, None, True),
        ("http://localhost", None, True),
        ("http://localhost", "same-origin", True),
        ("http://evil.example", None, False),
        ("null", None, False),
        ("http://[::1", None, False),
        ("http://localhost:9999", None, False),
        ("http://localhost", "cross-site", False),
        (None, "same-site", False),
    ],
)
def test_only_our_own_pages_may_ask_for_changes(client: FlaskClient, origin: str | None, fetch_site: str | None, fine: bool) -> None:
    headers = {name: value for name, value in (("Origin", origin), ("Sec-Fetch-Site", fetch_site)) if value is not None}
    assert same_origin(origin, fetch_site, "localhost") is fine
    assert (client.post("/_dash-update-component", json=PAGE_REQUEST, headers=headers).status_code != 403) is fine


def test_every_answer_carries_the_headers(client: FlaskClient) -> None:
    for path in ("/", "/healthz", "/assets/style.css", "/no/such", "/_dash-layout"):
        headers = client.get(path).headers
        assert headers["X-Content-Type-Options"] == "nosniff"
        assert "default-src 'none'" in headers["Content-Security-Policy"]
        assert headers["Cross-Origin-Resource-Policy"] == "same-origin"
        assert headers["Referrer-Policy"] == "same-origin"


def test_no_script_runs_but_ours(client: FlaskClient) -> None:
    answer = client.get("/")
    scripts = re.search(r"script-src ([^;]*)", answer.headers["Content-Security-Policy"])
    assert scripts is not None
    assert "unsafe" not in scripts[1]
    inline = re.findall(r"<script(?![^>]*src=)(?![^>]*application/json)[^>]*>(.*?)</script>", answer.text, re.DOTALL)
    assert len(inline) >= 1
    from base64 import b64encode
    from hashlib import sha256

    for script in inline:
        assert f"'sha256-{b64encode(sha256(script.encode()).digest()).decode()}'" in scripts[1]


def test_pages_are_not_kept_by_the_browser(client: FlaskClient) -> None:
    assert client.get("/").headers["Cache-Control"] == "no-store"
    assert client.get("/_dash-layout").headers["Cache-Control"] == "no-store"


@pytest.mark.parametrize(
    "path", ["/", "/pack/Tug%201", "/_dash-layout", "/_dash-dependencies", "/assets/frame.js", "/_dash-component-suites/dash/html/x.js"]
)
def test_without_signing_in_nothing_is_shown(guarded: FlaskClient, path: str) -> None:
    answer = guarded.get(path)
    assert answer.status_code in {302, 401}
    assert "Tug 1" not in answer.text
    assert guarded.post("/_dash-update-component", json=PAGE_REQUEST).status_code == 401


def test_the_password_lets_in_and_leads_on(guarded: FlaskClient) -> None:
    asked = guarded.get("/pack/100%25%20%C2%BD%20%231%3F?run=x", headers={"Accept": "text/html"})
    assert asked.status_code == 302
    form = guarded.get(asked.headers["Location"])
    assert form.status_code == 200
    wanted = re.search(r'name="next" value="([^"]*)"', form.text)
    assert wanted is not None
    answer = guarded.post("/sign-in", data={"password": PASSWORD, "next": wanted[1].replace("&amp;", "&")})
    assert answer.status_code == 302
    assert answer.headers["Location"] == "/pack/100%25%20%C2%BD%20%231%3F?run=x"
    cookie = answer.headers["Set-Cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=Lax" in cookie
    assert guarded.get("/_dash-layout").status_code == 200


def test_a_wrong_password_does_not_and_soon_has_to_wait(guarded: FlaskClient) -> None:
    answers = [guarded.post("/sign-in", data={"password": "wrong"}).status_code for _ in range(6)]
    assert answers == [403] * 5 + [429]
    assert guarded.post("/sign-in", data={"password": PASSWORD}).status_code == 429
    assert guarded.get("/_dash-layout").status_code == 401


def test_a_session_of_another_start_is_not_taken(guarded: FlaskClient) -> None:
    guarded.post("/sign-in", data={"password": PASSWORD})
    cookie = guarded.get_cookie("pack_tracker")
    assert cookie is not None
    other = create_app(club_services(), Access(password=PASSWORD)).server.test_client()
    other.set_cookie("pack_tracker", cookie.value)
    assert other.get("/_dash-layout").status_code == 401


@pytest.mark.parametrize(
    "wanted", ["https://evil.example", "//evil.example", "/\\evil.example", "javascript:alert(1)", "", "/a\r\nSet-Cookie: x=1"]
)
def test_signing_in_leads_to_no_other_site(wanted: str) -> None:
    assert safe_target(wanted) == "/"


def test_a_password_matches_itself_only() -> None:
    password = Password(PASSWORD)
    assert password.matches(PASSWORD)
    assert not password.matches(PASSWORD + " ")
    assert not password.matches("")


def test_wrong_tries_are_forgotten_after_a_minute() -> None:
    tries = Tries()
    for _ in range(5):
        tries.add("10.0.0.2", 100.0)
    assert tries.too_many("10.0.0.2", 159.0)
    assert not tries.too_many("10.0.0.3", 159.0)
    assert not tries.too_many("10.0.0.2", 161.0)
