"""Data in and out in a real browser: a season brought in, a refusal, everything taken out and put back, a recording looked at."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from sample_data import csv_files
from tests.dashboard.conftest import Serve
from tests.dashboard.exchange.test_recordings import FILE
from tests.dashboard.test_browser import AXE, COLOURS, RUN_AXE, SIZES, Watched, context_of
from tests.tracker.made_up_traces import START
from tracker.domain.pack import Pack
from tracker.domain.session import Run
from tracker.services import Services, open_services

LOOKS = (("phone", "dark"), ("desktop", "light"))


@pytest.fixture
def services(tmp_path: Path) -> Iterator[Services]:
    with open_services(f"sqlite:///{tmp_path / 'logbook.sqlite3'}") as opened:
        yield opened


def clean(page: Page) -> None:
    """Nothing amiss in either size, dark or light, nor on a very narrow screen."""
    for size, scheme in LOOKS:
        page.set_viewport_size({"width": SIZES[size][0], "height": SIZES[size][1]})
        page.emulate_media(color_scheme="dark" if scheme == "dark" else "light")
        # A chart takes a moment to follow its place.
        page.wait_for_function("most => document.documentElement.scrollWidth <= most", arg=SIZES[size][0])
        page.evaluate(AXE)
        # The same page in another light and width: only its colours may have become worse.
        assert page.evaluate(RUN_AXE, None if size == "phone" else COLOURS) == [], f"{size}, {scheme}"
    page.set_viewport_size({"width": 320, "height": 640})
    page.wait_for_function("most => document.documentElement.scrollWidth <= most", arg=320)


def send(page: Page, files: list[str] | list[Path], field: str = "Files", button: str = "See what they would bring") -> None:
    page.get_by_label(field, exact=True).set_input_files([str(file) for file in files])
    page.get_by_role("button", name=button).click()


def test_a_season_comes_in_and_goes_out_and_comes_back(chromium: Browser, serve: Serve, services: Services, tmp_path: Path) -> None:
    with serve(services) as base, context_of(chromium, accept_downloads=True) as context:
        watched = Watched(context, base)
        page = watched.open("/data")
        send(page, [Path(str(file)) for file in csv_files()])
        expect(page.get_by_text("records would be added")).to_be_visible(timeout=20_000)
        assert services.packs.all() == ()
        page.reload()
        expect(page.get_by_text("None of this is stored yet")).to_be_visible()
        clean(page)
        page.get_by_role("button", name="Bring these in").click()
        expect(page.get_by_role("heading", name="Brought in")).to_be_visible(timeout=60_000)
        assert services.database.contents().numbers["runs"] > 200
        bad = tmp_path / "run <b>list.csv"
        bad.write_text("pack,started_at,run_min\nGroomer A,2025-13-01T10:00Z,12\n", "utf-8")
        watched.open("/data")
        send(page, [bad])
        expect(page.get_by_text("Refused: nothing was stored")).to_be_visible(timeout=20_000)
        expect(page.locator("table.cards tbody tr")).to_contain_text("run <b>list.csv")
        clean(page)
        watched.open("/data")
        page.set_viewport_size({"width": 390, "height": 844})
        with page.expect_download() as told:
            page.get_by_role("link", name="Backup", exact=True).click()
        told.value.save_as(tmp_path / "backup.sqlite3")
        gone = services.runs.assess("Groomer A")[-1].run
        services.runs.remove(gone.pack, gone.started_at)
        send(page, [tmp_path / "backup.sqlite3"], "Backup file", "Check this backup")
        expect(page.get_by_role("heading", name="This backup is whole")).to_be_visible(timeout=20_000)
        clean(page)
        page.get_by_label("To confirm").fill("replace")
        page.keyboard.press("Enter")
        expect(page.get_by_role("heading", name="The backup is back in place")).to_be_visible(timeout=30_000)
        assert services.runs.assess("Groomer A")[-1].run == gone
        assert watched.wrong == []
        assert watched.strangers() == []


def test_too_much_is_refused_before_it_is_sent(chromium: Browser, serve: Serve, services: Services, tmp_path: Path) -> None:
    large = tmp_path / "large.csv"
    with large.open("wb") as file:
        file.truncate(65 * 1024 * 1024)
    with serve(services) as base, context_of(chromium) as context:
        watched = Watched(context, base)
        page = watched.open("/data")
        send(page, [large])
        expect(page.get_by_role("alert").filter(has_text="65 MiB together; up to 64 MiB")).to_be_visible()
        assert [url for url in watched.asked if "/data/files" in url] == []


def test_a_recording_is_kept_with_its_run_and_looked_at_more_closely(
    chromium: Browser, serve: Serve, services: Services, tmp_path: Path
) -> None:
    services.edits.save(Pack(name="Tug 1", chemistry="lipo", series=3, capacity_ah=5.0))
    services.edits.save(Run(pack="Tug 1", started_at=START - timedelta(minutes=2), run_s=100.0, cutoff_v=(9.6,)))
    log = tmp_path / "log <i>7.csv"
    log.write_text(FILE, "utf-8")
    with serve(services) as base, context_of(chromium, SIZES["desktop"]) as context:
        watched = Watched(context, base)
        page = watched.open("/data")
        send(page, [log])
        page.get_by_role("link", name="log <i>7.csv").click()
        expect(page.get_by_role("heading", name="Recording log <i>7.csv")).to_be_visible(timeout=20_000)
        expect(page.get_by_label("Current", exact=True)).to_have_value("Current [A]")
        expect(page.get_by_label("It belongs to")).to_have_value((START - timedelta(minutes=2)).isoformat())
        clean(page)
        page.set_viewport_size({"width": 1440, "height": 900})
        page.get_by_role("button", name="Keep this recording").click()
        page.get_by_role("link", name="See the run").click(timeout=20_000)
        chart = page.locator("#run-recording")
        page.wait_for_function("() => document.querySelector('#run-recording .main-svg .xtick')", timeout=20_000)
        page.get_by_role("button", name="Closer").press("Enter")
        shown = page.locator("#run-recording-said")
        expect(shown).to_contain_text("Shown: 0.", timeout=20_000)
        first = shown.inner_text()
        page.wait_for_url("**part=**")
        page.reload()
        expect(shown).to_have_text(first, timeout=20_000)
        chart.scroll_into_view_if_needed()
        box = chart.bounding_box()
        assert box is not None
        page.wait_for_function("() => document.querySelector('#run-recording .js-plotly-plot')._fullLayout.dragmode === 'zoom'")
        page.mouse.move(box["x"] + 0.4 * box["width"], box["y"] + 0.4 * box["height"])
        page.mouse.down()
        page.mouse.move(box["x"] + 0.6 * box["width"], box["y"] + 0.4 * box["height"], steps=5)
        page.mouse.up()
        expect(shown).not_to_have_text(first, timeout=20_000)
        page.get_by_role("button", name="Whole run").click()
        expect(shown).to_have_text("The whole recording is shown.", timeout=20_000)
        page.wait_for_url(lambda address: "part=" not in address)
        clean(page)
        assert watched.wrong == []
        assert watched.strangers() == []
