"""The dashboard as a server: pages by the request a browser would make, health, addresses that are none, faults."""

from __future__ import annotations

import logging
from collections.abc import Iterator
from typing import Any
from urllib.parse import quote, urlsplit

import pytest
from flask.testing import FlaskClient

from dashboard.addresses import pack_address
from dashboard.app import create_app
from dashboard.needs import Services
from tests.dashboard.fakes import HOSTILE, NAMES, club_services, empty_services
from tracker.errors import StoreError


@pytest.fixture
def client() -> Iterator[FlaskClient]:
    with create_app(club_services()).server.test_client() as client:
        yield client


def page(client: FlaskClient, address: str) -> dict[str, Any]:
    """What a browser gets that goes to this address: the answer of the page callback."""
    parts = urlsplit(address)
    # The first document makes Dash set up its pages, as in a browser.
    client.get("/")
    answer = client.post(
        "/_dash-update-component",
        json={
            "output": ".._pages_content.children..._pages_store.data..",
            "outputs": [{"id": "_pages_content", "property": "children"}, {"id": "_pages_store", "property": "data"}],
            "inputs": [
                {"id": "_pages_location", "property": "pathname", "value": parts.path},
                {"id": "_pages_location", "property": "search", "value": f"?{parts.query}" if parts.query else ""},
            ],
            "changedPropIds": ["_pages_location.pathname"],
        },
    )
    assert answer.status_code == 200, answer.text
    response: dict[str, Any] = answer.get_json()["response"]
    return response


def shown(client: FlaskClient, address: str) -> str:
    return str(page(client, address)["_pages_content"]["children"])


@pytest.mark.parametrize(
    ("address", "says"),
    [
        ("/", "What needs doing"),
        ("/pack", "Old tug"),
        ("/cutoff", "Choose a pack and a model"),
        ("/controllers", "Move a trip point"),
        ("/data", "Put a backup back"),
        ("/safety", "Stop using a pack"),
        ("/no/such", "No such page"),
    ],
)
def test_every_address_answers_with_its_page(client: FlaskClient, address: str, says: str) -> None:
    assert says in shown(client, address)


@pytest.mark.parametrize("name", NAMES)
def test_every_name_has_a_page_under_its_address(client: FlaskClient, name: str) -> None:
    response = page(client, pack_address(name))
    assert repr(name) in str(response["_pages_content"]["children"])
    assert response["_pages_store"]["data"]["title"] == f"{name} · Pack tracker"


def test_words_after_the_question_mark_cannot_break_a_page(client: FlaskClient) -> None:
    assert "What needs doing" in shown(client, "/?services=1&segment=2&layout=3&x=1&x=2")
    assert "How deep each run went" in shown(client, "/pack/Groomer%20left?run=a&run=b&segment=Groomer%20left")


def test_the_document_shows_the_frame_before_any_script_runs(client: FlaskClient) -> None:
    text = client.get("/").text
    assert '<html lang="en">' in text
    assert '<h1 tabindex="-1">Today</h1>' in text
    assert "Loading..." not in text


@pytest.mark.parametrize("name", NAMES)
def test_a_hostile_name_is_escaped_in_the_document(client: FlaskClient, name: str) -> None:
    answer = client.get(pack_address(name))
    assert answer.status_code == 200
    assert "<script>alert" not in answer.text


def test_the_document_does_not_name_versions(client: FlaskClient) -> None:
    import platform

    assert platform.python_version() not in client.get("/").text


def test_where_no_page_is_the_status_says_so(client: FlaskClient) -> None:
    assert client.get("/no/such").status_code == 404
    assert client.get("/pack/Tug%201").status_code == 200


def test_health_answers_once_the_database_does(client: FlaskClient) -> None:
    answer = client.get("/healthz")
    assert (answer.status_code, answer.text) == (200, "ok\n")


def broken(error: Exception) -> Services:
    services = empty_services()

    def fail(*_: object, **__: object) -> Any:
        raise error

    services.packs.all = services.packs.states = services.packs.record = fail  # type: ignore[method-assign]
    return services


def test_health_says_when_the_database_is_away() -> None:
    answer = create_app(broken(StoreError("The database is busy. Try again."))).server.test_client().get("/healthz")
    assert answer.status_code == 503
    assert "busy" in answer.text


def test_an_error_meant_for_people_is_shown_as_it_is() -> None:
    client = create_app(broken(StoreError("The database is busy. Try again."))).server.test_client()
    assert "The database is busy. Try again." in shown(client, "/")


def test_an_unforeseen_error_shows_a_reference_and_the_log_has_the_rest(caplog: pytest.LogCaptureFixture) -> None:
    client = create_app(broken(RuntimeError("secret inner workings"))).server.test_client()
    with caplog.at_level(logging.ERROR, "dashboard"):
        text = shown(client, "/pack/Tug%201")
    assert "Something went wrong" in text
    assert "secret" not in text
    assert caplog.records[-1].exc_info is not None
    assert caplog.records[-1].getMessage().removeprefix("reference ") in text


def test_a_callback_that_fails_says_so_with_a_reference_only() -> None:
    from dash import Input, Output

    app = create_app(empty_services())

    @app.callback(Output("x", "children"), Input("y", "n_clicks"))
    def fails(_: object) -> str:
        raise RuntimeError("secret inner workings")

    client = app.server.test_client()
    client.get("/")
    answer = client.post(
        "/_dash-update-component",
        json={
            "output": "x.children",
            "outputs": {"id": "x", "property": "children"},
            "inputs": [{"id": "y", "property": "n_clicks", "value": 1}],
            "changedPropIds": ["y.n_clicks"],
        },
    )
    assert "secret" not in answer.text
    assert "Reference" in answer.get_json()["sideUpdate"]["notice"]["children"]


@pytest.mark.parametrize("body", ["", "{}", "[]", "null", '{"output": "x.children"}', "no json"])
def test_a_senseless_request_gets_no_inner_workings(client: FlaskClient, body: str) -> None:
    client.get("/")
    answer = client.post("/_dash-update-component", data=body, content_type="application/json")
    assert answer.status_code >= 400
    assert "Traceback" not in answer.text
    assert "Error:" not in answer.text


def test_a_component_file_that_is_not_there_is_not_found(client: FlaskClient) -> None:
    assert client.get("/_dash-component-suites/nothing/here.js").status_code == 404
    assert client.get("/_dash-component-suites/dash/../../../etc/passwd").status_code == 404


def test_apps_one_after_another_keep_their_own_pages() -> None:
    create_app(club_services())
    client = create_app(empty_services()).server.test_client()
    assert "No packs yet" in shown(client, "/")


def test_names_with_slashes_are_not_sent_elsewhere(client: FlaskClient) -> None:
    for name in ("//x", "a//b", "/", HOSTILE):
        assert client.get("/pack/" + quote(name, safe="")).status_code == 200
