"""What goes over the wire: compressed, and kept for good only under an address that changes with the contents."""

from __future__ import annotations

import gzip
import re

import pytest
from flask.testing import FlaskClient
from plotly.offline import get_plotlyjs_version

from dashboard.app import create_app
from dashboard.delivery import chart_address, chart_script
from tests.dashboard.fakes import club_services


@pytest.fixture
def client() -> FlaskClient:
    client: FlaskClient = create_app(club_services()).server.test_client()
    return client


def test_the_chart_library_is_sent_compressed_and_kept_for_good(client: FlaskClient) -> None:
    answer = client.get(chart_address(), headers={"Accept-Encoding": "gzip"})
    assert answer.headers["Content-Encoding"] == "gzip"
    assert "immutable" in answer.headers["Cache-Control"]
    assert f"plotly.js v{get_plotlyjs_version()}".encode() in gzip.decompress(answer.data)[:400]
    assert len(answer.data) < 1_600_000


def test_a_client_that_cannot_unpack_gets_it_plain(client: FlaskClient) -> None:
    assert client.get(chart_address()).data == gzip.decompress(chart_script())


def test_the_document_names_the_chart_library_by_its_contents(client: FlaskClient) -> None:
    assert f'"plotlyjs_url": "{chart_address()}"' in client.get("/").text


def test_no_document_makes_its_words_wait_for_the_chart_library(client: FlaskClient) -> None:
    text = client.get("/pack/Tug%201").text
    assert "preload" not in text
    assert f'src="{chart_address()}' not in text


def test_every_script_and_style_of_the_first_page_is_compressed(client: FlaskClient) -> None:
    text = client.get("/").text
    sources = re.findall(r'(?:src|href)="(/(?:_dash-component-suites|assets)/[^"]+\.(?:js|css)[^"]*)"', text)
    assert len(sources) >= 5
    total = 0
    for source in sources:
        answer = client.get(source, headers={"Accept-Encoding": "gzip"})
        assert answer.status_code == 200
        assert answer.headers.get("Content-Encoding") == "gzip" or len(answer.data) < 1200, source
        total += len(answer.data)
    # The first page without a chart: a regression guard with room, 300 kB when written.
    assert total < 400_000


def test_packed_and_plain_answers_hold_the_same(client: FlaskClient) -> None:
    plain = client.get("/assets/style.css")
    packed = client.get("/assets/style.css", headers={"Accept-Encoding": "gzip"})
    assert gzip.decompress(packed.data) == plain.data
    assert len(packed.data) < len(plain.data)


def test_an_asset_changed_on_disk_is_not_served_from_before(client: FlaskClient) -> None:
    assert "immutable" not in client.get("/assets/style.css").headers.get("Cache-Control", "")
