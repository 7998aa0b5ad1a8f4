"""The pages on the real services and the invented club's season: what a person sees after `demo`."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser

from dashboard.addresses import cutoff_address, pack_address
from dashboard.app import create_app
from dashboard.components.form import texts_of
from dashboard.needs import Services as Needed
from dashboard.pages import cutoff
from tests.dashboard.conftest import Serve
from tests.dashboard.test_app import page, shown
from tests.dashboard.test_browser import AXE, RUN_AXE, SIZES, Watched, context_of
from tests.dashboard.words import words
from tracker.services import Services, open_services


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Services]:
    """The packaged season in a database of its own."""
    file: Path = tmp_path_factory.mktemp("season") / "season.sqlite3"
    with open_services(f"sqlite:///{file}") as services:
        services.exchange.load_demo()
        yield services


def test_the_real_services_offer_what_the_pages_ask_for(season: Services) -> None:
    needed: Needed = season
    assert len(needed.packs.all(include_retired=True)) > len(needed.packs.all()) >= 8


def test_today_tells_the_stories_of_the_season(season: Services) -> None:
    text = shown(create_app(season).server.test_client(), "/")
    for state in season.packs.states():
        assert state.pack in text
    findings = season.packs.findings()
    assert any(finding.severity == "stop" for finding in findings)
    assert text.index("Stop") < text.index("Last run")


def test_every_pack_and_its_first_and_last_run_have_a_page(season: Services) -> None:
    client = create_app(season).server.test_client()
    for pack in season.packs.all(include_retired=True):
        record = season.packs.record(pack.name)
        assert "This page cannot be shown" not in shown(client, pack_address(pack.name))
        for assessed in (*record.runs[:1], *record.runs[-1:]):
            text = shown(client, pack_address(pack.name, assessed.run.started_at))
            assert "Charge taken out" in text
            assert "There is no run at the time" not in text


def test_a_new_database_offers_the_first_steps(tmp_path: Path) -> None:
    with open_services(f"sqlite:///{tmp_path / 'new.sqlite3'}") as services:
        client = create_app(services).server.test_client()
        assert "No packs yet" in shown(client, "/")
        assert "No such pack" in str(page(client, "/pack/none")["_pages_content"]["children"])


def test_the_plans_of_the_season_can_be_shown(season: Services) -> None:
    client = create_app(season).server.test_client()
    assert "Let go at" in shown(client, cutoff_address("Groomer A", "Snow groomer"))
    answer = cutoff.answered(season, texts_of({"pack": "Groomer A", "vehicle": "Snow groomer"}, cutoff.FIELDS), whole=True)
    assert answer.problems == {}
    text = words(answer.advice) + words(answer.rest)
    for said in ("for the pack,", "left-track", "right-track", "Set the timer to"):
        assert said in text
    listed = shown(client, "/controllers")
    for controller in season.controllers.all():
        assert controller.name in listed


def test_the_season_is_shown_cleanly(chromium: Browser, serve: Serve, season: Services) -> None:
    """On a phone by day, and no wider than a desktop; the pages themselves are looked at in every light elsewhere."""
    worst = max(season.packs.states(), key=lambda state: state.deep_runs).pack
    last = season.packs.record(worst).runs[-1].run.started_at
    with serve(season) as base, context_of(chromium, SIZES["phone"], "light") as context:
        watched = Watched(context, base)
        for address in (
            "/",
            "/pack",
            pack_address(worst),
            pack_address(worst, last),
            cutoff_address("Groomer A", "Snow groomer"),
            "/controllers",
        ):
            opened = watched.open(address)
            assert opened.evaluate("document.documentElement.scrollWidth") <= SIZES["phone"][0]
            opened.evaluate(AXE)
            assert opened.evaluate(RUN_AXE) == []
            opened.set_viewport_size({"width": SIZES["desktop"][0], "height": SIZES["desktop"][1]})
            assert opened.evaluate("document.documentElement.scrollWidth") <= SIZES["desktop"][0]
            opened.set_viewport_size({"width": SIZES["phone"][0], "height": SIZES["phone"][1]})
        assert watched.wrong == []
        assert watched.strangers() == []
