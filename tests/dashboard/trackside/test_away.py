"""The page Log while the program cannot be reached: it goes on taking entries, and hands each over exactly once."""

from __future__ import annotations

import re
from collections import Counter

from playwright.sync_api import Browser, Page, expect

from dashboard.access import Access
from tests.dashboard.fakes import HOSTILE
from tests.dashboard.test_browser import AXE, RUN_AXE, Watched, context_of
from tests.dashboard.trackside.conftest import Open, Track
from tests.dashboard.trackside.test_log_page import visit

PATIENCE_MS = 20_000
KEPT = """async () => (await Promise.all((await caches.keys()).map(async name => await (await caches.open(name)).keys()))).flat()
    .map(one => new URL(one.url).pathname)"""


def log(page: Page, pack: str, minutes: str) -> None:
    page.locator("#run-pack").select_option(pack)
    page.get_by_label("Driven, min").fill(minutes)
    page.get_by_role("button", name="Save").click()


def kept(page: Page, pack: str, minutes: str) -> None:
    """Log a run that has to wait."""
    log(page, pack, minutes)
    expect(page.get_by_role("heading", name="Kept on this phone")).to_be_visible(timeout=PATIENCE_MS)
    page.get_by_role("link", name="Log another").click()


def test_three_runs_wait_while_the_program_is_away_and_two_windows_hand_each_over_once(chromium: Browser, track: Track) -> None:
    with context_of(chromium) as context:
        watched = Watched(context, track.base)
        page = visit(watched, "/log")
        other = context.new_page()
        other.goto(track.base + "/log")
        track.stop()
        context.set_offline(True)
        for minutes in ("11", "12", "13"):
            kept(page, "Groomer left", minutes)
        expect(page.locator("#entries li")).to_have_count(3)
        expect(other.locator("#entries li")).to_have_count(3)
        expect(page.get_by_role("status").get_by_text("No connection, 3 kept here")).to_be_visible()
        page.evaluate(AXE)
        assert page.evaluate(RUN_AXE) == []
        track.start()
        context.set_offline(False)
        for window in (page, other):
            expect(window.locator("#entries li")).to_have_count(0, timeout=PATIENCE_MS)
        assert Counter(run.run_s for run in track.runs("Groomer left")) == {660.0: 1, 720.0: 1, 780.0: 1}
        assert sum("Run of 'Groomer left'" in change.words for change in track.services.edits.recent()) == 3


def test_a_closed_page_opens_again_without_the_program_and_loses_nothing(chromium: Browser, track: Track) -> None:
    with context_of(chromium) as context:
        page = visit(Watched(context, track.base), "/log?pack=Groomer%20left")
        expect(page.get_by_text("opens anew without a connection")).to_be_attached()
        log(page, "Groomer left", "9")
        expect(page.get_by_role("heading", name=re.compile("Saved: "))).to_be_visible(timeout=PATIENCE_MS)
        track.stop()
        page.get_by_role("link", name="Log another").click()
        kept(page, HOSTILE, "10")
        page.close(run_before_unload=False)
        page = visit(Watched(context, track.base), "/log?pack=Tug%201&what=run")
        expect(page.locator("#run-pack")).to_have_value("Tug 1")
        expect(page.locator("#entries li").first).to_contain_text(HOSTILE)
        kept(page, "Tug 1", "7")
        expect(page.locator("#entries li")).to_have_count(2)
        # Nothing else of the program is kept on the phone.
        assert {re.sub(r"files/.*", "files", path) for path in page.evaluate(KEPT)} == {"/log", "/log/files", "/assets/icon.svg"}
        track.start()
        page.evaluate("window.dispatchEvent(new Event('online'))")
        expect(page.locator("#entries li")).to_have_count(0, timeout=PATIENCE_MS)
        assert [run.run_s for run in track.runs(HOSTILE)] == [600.0]
        assert track.runs("Tug 1")[-1].run_s == 420.0


def test_what_is_refused_later_is_kept_to_be_corrected_or_dropped(chromium: Browser, track: Track) -> None:
    with context_of(chromium) as context:
        page = visit(Watched(context, track.base), "/log")
        track.stop()
        kept(page, "Groomer left", "a while")
        kept(page, "Groomer left", "12")
        kept(page, "Tug 1", "6")
        differing = page.evaluate("Store.all().then(entries => entries[1])")
        track.start()
        # Somebody's earlier wording of the second has arrived already.
        body = {"kind": "run", "at": differing["at"], "texts": {**differing["texts"], "run_min": "21"}}
        assert context.request.put(f"{track.base}/log/entries/{differing['id']}", data=body).status == 201
        page.evaluate("window.dispatchEvent(new Event('online'))")
        expect(page.locator("#entries li")).to_have_count(2, timeout=PATIENCE_MS)
        refused, differs = page.locator("#entries li").all()
        expect(refused).to_contain_text("not a number")
        expect(differs.locator(".problem")).not_to_be_empty()
        differs.get_by_role("button", name="Drop").click()
        expect(page.locator("#entries li").last).to_contain_text("Drop it for good?")
        page.get_by_role("button", name="Keep it").click()
        page.locator("#entries li").last.get_by_role("button", name="Drop").click()
        page.get_by_role("button", name="Drop it").click()
        expect(page.locator("#entries li")).to_have_count(1)
        page.get_by_role("button", name="Correct").click()
        minutes = page.get_by_label("Driven, min")
        expect(minutes).to_be_focused()
        expect(minutes).to_have_value("a while")
        minutes.fill("15")
        page.get_by_role("button", name="Save").click()
        expect(page.get_by_role("heading", name=re.compile("Saved: Groomer left"))).to_be_visible(timeout=PATIENCE_MS)
        expect(page.locator("#entries li")).to_have_count(0)
        assert sorted(run.run_s for run in track.runs("Groomer left")) == [900.0, 1260.0]
        assert track.runs("Tug 1")[-1].run_s == 360.0


def test_whoever_is_signed_out_keeps_what_waits_and_signs_in(chromium: Browser, database: Open) -> None:
    track = Track(database, Access(password="pond and paddle"))
    track.start()
    try:
        with context_of(chromium) as context:
            page = visit(Watched(context, track.base), "/log?pack=Tug%201")
            page.get_by_label("Password").fill("pond and paddle")
            page.get_by_role("button", name="Sign in").click()
            expect(page.locator("#run-pack")).to_have_value("Tug 1")
            # Started anew, it knows nobody.
            track.stop()
            track.start()
            log(page, "Tug 1", "5")
            expect(page.get_by_role("heading", name="Kept on this phone")).to_be_visible(timeout=PATIENCE_MS)
            page.locator("#notice").get_by_role("link", name="Sign in").click()
            page.get_by_label("Password").fill("pond and paddle")
            page.get_by_role("button", name="Sign in").click()
            expect(page.locator("#run-pack")).to_be_visible(timeout=PATIENCE_MS)
            expect(page.locator("#entries li")).to_have_count(0, timeout=PATIENCE_MS)
            assert track.runs("Tug 1")[-1].run_s == 300.0
    finally:
        track.stop()


def test_over_plain_http_the_page_says_what_it_cannot_do_and_goes_on_taking_entries(chromium: Browser, track: Track) -> None:
    with context_of(chromium) as context:
        watched = Watched(context, track.base)
        watched.page.add_init_script(
            "Object.defineProperty(window, 'isSecureContext', {value: false}); Object.defineProperty(crypto, 'randomUUID', {value: undefined});"
        )
        page = visit(watched, "/log")
        expect(page.locator("#away-words")).to_contain_text(
            "cannot be opened anew while the program is away: it was opened over plain http"
        )
        context.set_offline(True)
        kept(page, "Tug 1", "4")
        context.set_offline(False)
        expect(page.locator("#entries li")).to_have_count(0, timeout=PATIENCE_MS)
        assert track.runs("Tug 1")[-1].run_s == 240.0
