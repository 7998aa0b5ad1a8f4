"""The page Log on a phone: quick, small, clean, by thumb, by keyboard and without script."""

from __future__ import annotations

import re
import time

from playwright.sync_api import Browser, Page, expect

from dashboard.addresses import log_address
from tests.dashboard.fakes import HOSTILE
from tests.dashboard.test_browser import AXE, RUN_AXE, Watched, context_of
from tests.dashboard.trackside.conftest import LONG, Track

PATIENCE_MS = 20_000
MOST_BYTES = 30_000
SMALL_TARGETS = """() => [...document.querySelectorAll('main a, button, summary, select, textarea, input:not([type=hidden]):not([type=radio]), .pills label')]
    .filter(one => one.offsetParent).map(one => [one.textContent.slice(0, 20) || one.id, one.getBoundingClientRect().height]).filter(([, height]) => height < 44)"""
PAINTED = """() => new Promise(done => new PerformanceObserver(list => done(list.getEntries().at(-1).startTime))
    .observe({type: 'largest-contentful-paint', buffered: true}))"""
SHIFTED = """() => new Promise(done => { let sum = 0; new PerformanceObserver(list => list.getEntries().forEach(one => {
    if (!one.hadRecentInput) sum += one.value; })).observe({type: 'layout-shift', buffered: true}); setTimeout(() => done(sum), 300); })"""


class Thumb:
    """Taps and types, and counts both."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.taps = self.fields = 0

    def tap(self, label: str) -> None:
        self.page.get_by_label(label).locator("visible=true").tap()
        self.taps += 1

    def press(self, name: str) -> None:
        self.page.get_by_role("button", name=name).locator("visible=true").tap()
        self.taps += 1

    def type(self, text: str) -> None:
        self.page.keyboard.type(text)
        self.fields += 1


def visit(context_page: Watched, address: str) -> Page:
    page = context_page.page
    page.set_default_timeout(PATIENCE_MS)
    page.goto(context_page.base + address)
    return page


def violations(page: Page) -> list[str]:
    page.evaluate(AXE)
    found: list[str] = page.evaluate(RUN_AXE)
    return found


def test_a_run_takes_few_taps_few_bytes_and_little_time(chromium: Browser, track: Track) -> None:
    with context_of(chromium, has_touch=True) as context:
        watched = Watched(context, track.base)
        session = context.new_cdp_session(watched.page)
        session.send("Network.enable")
        slow = {"offline": False, "latency": 150, "downloadThroughput": 200_000, "uploadThroughput": 200_000}
        session.send("Network.emulateNetworkConditions", slow)
        session.send("Emulation.setCPUThrottlingRate", {"rate": 4})
        page = visit(watched, "/log?pack=Tug%201&vehicle=Harbour%20tug")
        expect(page.get_by_text("opens anew without a connection")).to_be_attached()
        painted, shifted, sent = page.evaluate(PAINTED), page.evaluate(SHIFTED), dict(track.sent)
        session.send("Emulation.setCPUThrottlingRate", {"rate": 1})
        session.send("Network.emulateNetworkConditions", {**slow, "latency": 0, "downloadThroughput": -1, "uploadThroughput": -1})
        started, thumb = time.monotonic(), Thumb(page)
        thumb.tap("Driven, min")
        thumb.type("14")
        thumb.tap("Volts after, whole pack")
        thumb.type("7,31")
        expect(page.get_by_text(re.compile(r"Took [\d,]+"))).to_be_visible()
        thumb.press("Save")
        saved = page.get_by_role("heading", name=re.compile(r"Saved: Tug 1 took [\d,]+"))
        expect(saved).to_be_visible()
        took = time.monotonic() - started
        print(f"\na run: {thumb.taps} taps, {thumb.fields} fields, {took:.1f} s of machine time")  # noqa: T201  to be read
        print(f"first visit: {sum(sent.values())} bytes {sent}; largest paint {painted:.0f} ms on a slow phone; shift {shifted:.3f}")  # noqa: T201  to be read
        assert thumb.taps + thumb.fields <= 5
        assert sum(sent.values()) <= MOST_BYTES
        assert shifted <= 0.1
        expect(saved).to_be_focused()
        newest = track.runs("Tug 1")[-1]
        assert (newest.after_v, newest.run_s, newest.vehicle) == ((7.31,), 840.0, "Harbour tug")
        # The next one: everything but the readings is as it was.
        page.get_by_role("link", name="Log another").tap()
        expect(page.get_by_label("Driven, min")).to_be_focused()
        assert page.locator("#run").get_by_label("Pack", exact=True).input_value() == "Tug 1"
        assert page.get_by_label("Volts after, whole pack").input_value() == ""
        assert watched.wrong == []
        assert watched.strangers() == []


def test_by_keyboard_alone_a_run_is_logged_and_taken_back(chromium: Browser, track: Track) -> None:
    before = len(track.runs("Groomer left"))
    with context_of(chromium) as context:
        watched = Watched(context, track.base)
        page = visit(watched, "/log?pack=Groomer%20left")
        page.keyboard.press("Tab")
        expect(page.get_by_role("link", name="Skip to the page")).to_be_focused()
        page.keyboard.press("Enter")
        for _ in range(5):
            page.keyboard.press("Tab")
        expect(page.get_by_label("Driven, min")).to_be_focused()
        page.keyboard.type("11.5")
        page.keyboard.press("Tab")
        page.keyboard.press("ArrowRight")
        expect(page.locator("#run-readings-each")).to_be_checked()
        for text in ("3.8", "3.79", "3.55"):
            page.keyboard.press("Tab")
            page.keyboard.type(text)
        page.keyboard.press("Enter")
        heading = page.get_by_role("heading", name=re.compile("Saved: Groomer left"))
        expect(heading).to_be_focused()
        assert track.runs("Groomer left")[-1].after_v == (3.8, 3.79, 3.55)
        page.keyboard.press("Tab")
        page.keyboard.press("Tab")
        expect(page.get_by_role("button", name="Undo")).to_be_focused()
        page.keyboard.press("Enter")
        expect(page.get_by_role("heading", name="Taken back")).to_be_focused()
        assert len(track.runs("Groomer left")) == before
        # What was typed stands there again.
        expect(page.get_by_label("Volts after, cell 3")).to_have_value("3.55")
        assert watched.wrong == []


def test_faults_stand_under_their_fields_and_the_first_is_next(chromium: Browser, track: Track) -> None:
    with context_of(chromium) as context:
        page = visit(Watched(context, track.base), "/log")
        page.get_by_role("button", name="Save").click()
        pack = page.locator("#run").get_by_label("Pack", exact=True)
        expect(pack).to_be_focused()
        expect(pack).to_have_attribute("aria-invalid", "true")
        pack.select_option("Tug 1")
        assert "pack=Tug+1" in page.url
        page.get_by_label("Driven, min").fill("12")
        page.get_by_text("More readings").locator("visible=true").click()
        page.get_by_label("Mean current, A").fill("plenty")
        page.get_by_label("Temperature, °C").locator("visible=true").fill("21")
        # While one is typing elsewhere, a fault is told; the one of the pack has gone.
        fault = page.locator("#run-mean_a-problem")
        expect(fault).to_contain_text("not a number")
        assert page.get_by_label("Mean current, A").get_attribute("aria-describedby") == "run-mean_a-problem"
        expect(page.locator("#run-pack-problem")).to_be_empty()
        page.get_by_role("button", name="Save").click()
        expect(page.get_by_label("Mean current, A")).to_be_focused()
        expect(page.get_by_label("Mean current, A")).to_have_value("plenty")
        page.get_by_label("Mean current, A").fill("9,5")
        expect(fault).to_be_empty()
        page.get_by_role("button", name="Save").click()
        expect(page.get_by_role("heading", name=re.compile("Saved: Tug 1"))).to_be_visible()
        assert track.runs("Tug 1")[-1].mean_a == 9.5
        expect(page.locator("#entries li")).to_have_count(0)


def test_a_charge_is_found_by_its_tab_and_by_going_back(chromium: Browser, track: Track) -> None:
    with context_of(chromium) as context:
        watched = Watched(context, track.base)
        page = visit(watched, "/log?pack=Tug%201")
        page.get_by_role("link", name="Charge", exact=True).click()
        expect(page.get_by_role("heading", level=1)).to_have_text("Log a charge")
        assert "what=charge&pack=Tug+1" in page.url
        page.go_back()
        expect(page.get_by_role("heading", level=1)).to_have_text("Log a run")
        page.go_forward()
        page.reload()
        page.get_by_label("Put back, mAh").fill("1890")
        page.get_by_text("Storage", exact=True).click()
        page.get_by_role("button", name="Save").click()
        expect(
            page.get_by_role("heading", name=re.compile("Saved: Tug 1 charged. Put back 1,890 mAh. Charged to: storage"))
        ).to_be_visible()
        newest = track.services.charges.all("Tug 1")[-1]
        assert (newest.put_back_ah, newest.goal) == (1.89, "storage")
        assert watched.wrong == []


def test_it_is_clean_in_every_light_and_on_a_narrow_screen(chromium: Browser, track: Track) -> None:
    found = {}
    for scheme, width, pack in (("light", 390, "Groomer left"), ("dark", 320, LONG)):
        with context_of(chromium, (width, 800), scheme) as context:
            watched = Watched(context, track.base)
            page = visit(watched, log_address(pack))
            page.get_by_text("Each cell").locator("visible=true").click()
            page.get_by_label("Driven, min").fill("9")
            for cell in (1, 2, 3):
                page.get_by_label(f"Volts after, cell {cell}").fill("3.2")
            expect(page.locator("#run .findings li").first).to_be_visible()
            page.evaluate("document.querySelectorAll('details').forEach(fold => { fold.open = true; })")
            found[scheme, "asked"] = amiss(page, width)
            if scheme == "dark":
                page.get_by_role("button", name="Save").click()
                expect(page.get_by_role("heading", name=re.compile("Saved: "))).to_be_visible()
                found[scheme, "saved"] = amiss(page, width)
            else:
                page = visit(watched, "/log?what=charge&pack=nobody")
                page.locator("#charge summary").first.click()
                page.get_by_label("Put back, mAh").fill("a lot")
                page.get_by_role("button", name="Save").click()
                expect(page.locator("#charge-put_back_mah-problem")).not_to_be_empty()
                found[scheme, "refused"] = amiss(page, width)
            # Browsers write every refusal into their log.
            assert [one for one in watched.wrong if "422" not in one] == []
    assert {place: what for place, what in found.items() if what} == {}


def amiss(page: Page, width: int) -> list[str]:
    """What a person would stumble over."""
    wide = page.evaluate("document.documentElement.scrollWidth")
    return [*violations(page), *page.evaluate(SMALL_TARGETS), *([f"{wide} wide"] if wide > width else [])]


def test_hostile_names_stay_text_and_no_script_is_needed(chromium: Browser, track: Track) -> None:
    with context_of(chromium, java_script_enabled=False) as context:
        page = visit(Watched(context, track.base), "/log")
        page.locator("#run-pack").select_option(HOSTILE)
        page.locator("#run-vehicle").select_option(HOSTILE)
        page.get_by_label("Driven, min").fill("8")
        page.get_by_label("Volts after, whole pack").fill("7.9 or so")
        page.get_by_role("button", name="Save").click()
        expect(page.locator("#run-after_v-problem")).to_contain_text("or")
        expect(page.locator("#run-pack")).to_have_value(HOSTILE)
        page.get_by_label("Volts after, whole pack").fill("7.9")
        page.get_by_role("button", name="Save").click()
        expect(page.get_by_role("heading", level=2).first).to_contain_text(f"Saved: {HOSTILE}")
        page.get_by_role("button", name="Undo").click()
        expect(page.get_by_role("heading", name="Taken back")).to_be_visible()
    with context_of(chromium) as context:
        watched = Watched(context, track.base)
        page = visit(watched, "/log")
        page.locator("#run-pack").select_option(HOSTILE)
        page.get_by_label("Driven, min").fill("8")
        page.get_by_role("button", name="Save").click()
        expect(page.get_by_role("heading", level=2).first).to_contain_text(f"Saved: {HOSTILE}")
        page.reload()
        expect(page.locator("#run-pack")).to_have_value(HOSTILE)
        assert watched.wrong == []
