"""Every page in a real browser: phone and desktop, light and dark; nothing from outside, nothing amiss, usable without a mouse."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import axe_playwright_python
import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect
from playwright.sync_api import TimeoutError as PlaywrightTimeoutError

from dashboard.access import Access
from dashboard.addresses import cutoff_address, pack_address
from dashboard.delivery import chart_address
from tests.dashboard.conftest import Serve
from tests.dashboard.fakes import HOSTILE, NAMES, club_services, empty_services

pytestmark = pytest.mark.long

AXE = (Path(axe_playwright_python.__file__).parent / "axe.min.js").read_text(encoding="utf-8")
CLUB = club_services()
LAST_RUN = CLUB.packs.record("Groomer left").runs[-1].run.started_at
SIZES = {"phone": (390, 844), "desktop": (1440, 900)}
PLAIN = {
    "today": "/",
    "packs": "/pack",
    "pack": pack_address("Groomer left"),
    "run": pack_address("Groomer left", LAST_RUN),
    "cutoff": cutoff_address("Tug 1", "Snow groomer"),
    "controllers": "/controllers?controller=Left%20track&top=10k&bottom=10k&trips=5.05&wanted=6.4",
    "data": "/data",
    "safety": "/safety",
    "units": "/units",
}
ODD = {
    "hostile": pack_address(HOSTILE),
    "dots": pack_address(".."),
    "long": pack_address(NAMES[7]),
    "no estimates": pack_address("Crawler six"),
    "never run": pack_address("never//used/"),
    "no such pack": pack_address("no such pack"),
    "cutoff of hostile names": cutoff_address(HOSTILE, HOSTILE),
    "cutoff refused": cutoff_address("Tug 1", "Snow groomer") + "&c=warm&mean_a=9&burst_a=2",
    "cutoff not asked": "/cutoff",
    "trip point refused": "/controllers?top=ten&trips=5&tolerance=90",
    "nowhere": "/no/such/page",
}
ADDRESSES = PLAIN | ODD
CHARTS = {"pack": 5, "cutoff": 2, "cutoff of hostile names": 2}
"""How many charts some pages bring in."""
OTHER_NAMES = {"dots", "long", "cutoff of hostile names"}
"""Made of what another page is made of: only their words are others, so that axe has nothing new to find."""
SETTLED = "() => [...document.querySelectorAll('.chart')].every(chart => chart.querySelector('.main-svg .xtick, .main-svg .trace'))"
RUN_AXE = """async wanted => (await axe.run(wanted?.where ?? document, {
    // Of what is passed only the names are wanted, else every element of a page is described at length.
    resultTypes: ['violations'],
    runOnly: wanted?.rules ?? ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'],
})).violations.map(one => one.id + ': ' + one.nodes.map(node => node.target.join(' ')).slice(0, 4).join(' | '))"""
COLOURS = {"rules": {"type": "rule", "values": ["color-contrast"]}}
FOLDS = {"where": "details"}
SMALL = """() => [...document.querySelectorAll('a, summary, button')].filter(one => one.offsetParent && !one.classList.contains('skip'))
    .map(one => [one.textContent, one.getBoundingClientRect().height]).filter(([text, height]) => height < 24)"""
OPEN_FOLDS = "document.querySelectorAll('details').forEach(fold => { fold.open = true; })"
OVERLAPS = """() => [...document.querySelectorAll('.chart')].flatMap(chart => {
    const texts = [...chart.querySelectorAll('.main-svg text')].filter(one => one.textContent.trim());
    const boxes = texts.map(one => [one.textContent, one.getBoundingClientRect()]);
    return boxes.flatMap(([word, a], place) => boxes.slice(place + 1)
        .filter(([, b]) => a.left < b.right - 1 && b.left < a.right - 1 && a.top < b.bottom - 3 && b.top < a.bottom - 3)
        .map(([other]) => word + ' / ' + other));
})"""
OUTSIDE = """() => [...document.querySelectorAll('.chart')].flatMap(chart => {
    const frame = chart.getBoundingClientRect();
    return [...chart.querySelectorAll('.main-svg text')].filter(one => one.textContent.trim())
        .map(one => [one.textContent, one.getBoundingClientRect()])
        .filter(([, box]) => box.left < frame.left - 1 || box.right > frame.right + 1 || box.bottom > frame.bottom + 1).map(([word]) => word);
})"""
WATCH_POLICY = "document.addEventListener('securitypolicyviolation', event => console.error('policy: ' + event.violatedDirective + ' ' + event.blockedURI))"


class Watched:
    """A page in the browser together with everything that went wrong on it and everything it asked for."""

    def __init__(self, context: BrowserContext, base: str) -> None:
        self.page: Page = context.new_page()
        self.page.set_default_timeout(30000)
        self.base = base
        self.wrong: list[str] = []
        self.asked: list[str] = []
        self.page.add_init_script(WATCH_POLICY)
        self.page.on("console", lambda message: self.wrong.append(message.text) if message.type == "error" else None)
        self.page.on("pageerror", lambda error: self.wrong.append(str(error)))
        self.page.on("request", lambda request: self.asked.append(request.url))
        self.page.on("dialog", lambda dialog: self.wrong.append(f"dialog: {dialog.message}"))

    def open(self, address: str, charts: int = 0) -> Page:
        """Wait for all there is, and where a page brings charts in later for so many of them."""
        self.page.goto(self.base + address)
        self.page.wait_for_selector("#page h1")
        if charts:
            expect(self.page.locator(".chart")).to_have_count(charts)
        self.page.wait_for_function(SETTLED)
        return self.page

    def strangers(self) -> list[str]:
        """Requests that left the host."""
        own = urlsplit(self.base).netloc
        return [url for url in self.asked if urlsplit(url).scheme in {"http", "https", "ws", "wss"} and urlsplit(url).netloc != own]


@pytest.fixture
def club(serve: Serve) -> Iterator[str]:
    with serve(CLUB) as base:
        yield base


def context_of(chromium: Browser, size: tuple[int, int] = SIZES["phone"], scheme: Any = "light", **more: Any) -> BrowserContext:
    return chromium.new_context(viewport={"width": size[0], "height": size[1]}, color_scheme=scheme, reduced_motion="reduce", **more)


def too_wide(page: Page, width: int) -> int:
    """By how much, once charts have followed the screen; 0 where it fits."""
    try:
        page.wait_for_function("width => document.documentElement.scrollWidth <= width", arg=width, timeout=5000)
    except PlaywrightTimeoutError:
        return int(page.evaluate("document.documentElement.scrollWidth")) - width
    return 0


def amiss_on(watched: Watched, name: str, width: int) -> dict[str, Any]:
    """What no page may have, whatever it shows and on whatever it is shown."""
    page = watched.page
    found: dict[str, Any] = {}
    found["wider than the screen"] = max(0, page.evaluate("document.documentElement.scrollWidth") - width)
    # A missing page says so with its status, which the browser reports; it is the one thing expected.
    found["errors"] = [one for one in watched.wrong if name != "nowhere" or "404" not in one]
    watched.wrong.clear()
    if name not in OTHER_NAMES:
        page.evaluate(AXE)
        found["axe"] = page.evaluate(RUN_AXE)
    found["says that something went wrong"] = page.locator("#notice").inner_text()
    return found


def test_every_page_is_clean_on_a_phone_in_the_dark(chromium: Browser, club: str) -> None:
    """On one load of each: also with all folds opened, by day, and as narrow as phones come."""
    with context_of(chromium, SIZES["phone"], "dark") as context:
        watched = Watched(context, club)
        found: dict[str, Any] = {}
        for name, address in ADDRESSES.items():
            page = watched.open(address, CHARTS.get(name, 0))
            amiss = amiss_on(watched, name, SIZES["phone"][0])
            amiss["words in the charts lie on each other"] = page.evaluate(OVERLAPS)
            amiss["words stand out of the charts"] = page.evaluate(OUTSIDE)
            if name in ("today", "pack", "packs", "cutoff"):
                # Links inside a sentence are excepted (WCAG 2.2, 2.5.8); ours stand in the footer only.
                amiss["too small for a finger"] = [one for one in page.evaluate(SMALL) if one[0] != "Safety"]
            if name in ("today", "pack"):
                page.evaluate(OPEN_FOLDS)
                amiss["wider with folds opened"] = max(0, page.evaluate("document.documentElement.scrollWidth") - SIZES["phone"][0])
                amiss["axe in opened folds"] = page.evaluate(RUN_AXE, FOLDS)
            if name not in OTHER_NAMES:
                # Colours are all that hangs on the light.
                page.emulate_media(color_scheme="light")
                amiss["colours by day"] = page.evaluate(RUN_AXE, COLOURS)
                page.emulate_media(color_scheme="dark")
            page.set_viewport_size({"width": 320, "height": 640})
            amiss["wider than a very narrow screen"] = too_wide(page, 320)
            page.set_viewport_size({"width": SIZES["phone"][0], "height": SIZES["phone"][1]})
            found |= {f"{name}: {what}": said for what, said in amiss.items() if said}
        for link in page.locator(".menu-link").all():
            assert (link.bounding_box() or {"height": 0})["height"] >= 44
        assert watched.strangers() == []
        assert found == {}


def test_every_page_is_clean_on_a_desktop(chromium: Browser, club: str) -> None:
    with context_of(chromium, SIZES["desktop"]) as context:
        watched = Watched(context, club)
        found: dict[str, Any] = {}
        for name, address in PLAIN.items():
            page = watched.open(address, CHARTS.get(name, 0))
            amiss = amiss_on(watched, name, SIZES["desktop"][0])
            page.emulate_media(color_scheme="dark")
            amiss["colours at night"] = page.evaluate(RUN_AXE, COLOURS)
            page.emulate_media(color_scheme="light")
            found |= {f"{name}: {what}": said for what, said in amiss.items() if said}
        assert watched.strangers() == []
        assert found == {}


def test_an_empty_database_shows_the_first_steps(chromium: Browser, serve: Serve) -> None:
    with serve(empty_services()) as base, context_of(chromium) as context:
        watched = Watched(context, base)
        page = watched.open("/")
        expect(page.get_by_text("pack-tracker demo")).to_be_visible()
        page.evaluate(AXE)
        assert page.evaluate(RUN_AXE) == []
        assert watched.wrong == []


def test_hostile_names_stay_text(chromium: Browser, club: str) -> None:
    with context_of(chromium) as context:
        watched = Watched(context, club)
        page = watched.open("/")
        page.get_by_role("link", name=HOSTILE, exact=True).first.click()
        expect(page.locator("#page h1")).to_have_text(HOSTILE)
        expect(page).to_have_title(f"{HOSTILE} · Pack tracker")
        page.reload()
        expect(page.locator("#page h1")).to_have_text(HOSTILE)
        assert watched.wrong == []


def test_every_name_leads_to_its_page(chromium: Browser, club: str) -> None:
    """By the address of its link, as after a reload; that a tap on it leads there too is tested above."""
    with context_of(chromium) as context:
        watched = Watched(context, club)
        page = watched.open("/pack")
        links = {name: page.get_by_role("link", name=name, exact=True).get_attribute("href") for name in NAMES}
        for name, address in links.items():
            page.goto(f"{club}{address}")
            expect(page.locator("#page h1")).to_have_text(name)
        assert watched.wrong == []


def test_back_and_forward_lead_through_runs_and_pages(chromium: Browser, club: str) -> None:
    with context_of(chromium) as context:
        page = Watched(context, club).open("/")
        page.get_by_role("link", name="Groomer left", exact=True).first.click()
        expect(page.locator("#page h1")).to_have_text("Groomer left")
        page.locator("table.cards tbody th a").first.click()
        expect(page.get_by_role("heading", name="Charge taken out")).to_be_visible()
        assert "run=" in page.url
        page.go_back()
        expect(page.get_by_role("heading", name="Charge taken out")).to_have_count(0)
        page.go_back()
        expect(page.locator("#page h1")).to_have_text("Today")
        page.go_forward()
        expect(page.locator("#page h1")).to_have_text("Groomer left")


def test_the_menu_marks_where_one_is_and_the_heading_is_read_next(chromium: Browser, club: str) -> None:
    with context_of(chromium) as context:
        page = Watched(context, club).open("/")
        marked = page.locator(".menu-link[aria-current=page]")
        expect(marked).to_have_text("Today")
        page.get_by_role("link", name="Packs", exact=True).click()
        expect(marked).to_have_text("Packs")
        expect(page.locator("#page h1")).to_be_focused()


def test_by_keyboard_alone_from_the_skip_link_to_a_run(chromium: Browser, club: str) -> None:
    with context_of(chromium, SIZES["desktop"]) as context:
        page = Watched(context, club).open(ADDRESSES["pack"])
        page.keyboard.press("Tab")
        expect(page.get_by_role("link", name="Skip to the page")).to_be_focused()
        page.keyboard.press("Enter")
        for _ in range(40):
            page.keyboard.press("Tab")
            if page.evaluate("document.activeElement.closest('table.cards tbody th') !== null"):
                break
        page.keyboard.press("Enter")
        expect(page.get_by_role("heading", name="Charge taken out")).to_be_visible()


def test_the_chart_is_drawn_in_the_page_s_colours(chromium: Browser, club: str) -> None:
    inks = []
    for scheme in ("light", "dark"):
        with context_of(chromium, scheme=scheme) as context:
            watched = Watched(context, club)
            page = watched.open(ADDRESSES["cutoff"], CHARTS["cutoff"])
            fills = page.evaluate("[...document.querySelectorAll('.chart [class$=tick] text')].map(one => getComputedStyle(one).fill)")
            sizes = page.evaluate(
                "[...document.querySelectorAll('.chart .main-svg text')].map(one => parseFloat(getComputedStyle(one).fontSize))"
            )
            assert len(set(fills)) == 1
            assert min(sizes) >= 12
            inks.append(fills[0])
            assert watched.base + chart_address() in watched.asked
    assert inks[0] != inks[1]


def test_the_chart_library_is_fetched_only_for_a_chart(chromium: Browser, club: str) -> None:
    with context_of(chromium) as context:
        watched = Watched(context, club)
        for address in (ADDRESSES["today"], ADDRESSES["units"], ADDRESSES["safety"]):
            watched.open(address)
        assert [url for url in watched.asked if "charts-" in url or "plotly" in url] == []


def test_a_tap_on_a_mark_gives_its_numbers(chromium: Browser, club: str) -> None:
    with context_of(chromium, SIZES["desktop"]) as context:
        page = Watched(context, club).open(ADDRESSES["pack"])
        for chart, said in (("#pack-depth", "Cell 1"), ("#pack-curve", "left by all else")):
            page.locator(chart).scroll_into_view_if_needed()
            page.locator(f"{chart} .point").first.hover(force=True)
            expect(page.locator(f"{chart} .hoverlayer text").first).to_contain_text(said)


def test_an_opened_fold_holds_the_numbers_of_its_chart_and_keeps_up_with_it(chromium: Browser, club: str) -> None:
    with context_of(chromium) as context:
        watched = Watched(context, club)
        page = watched.open(ADDRESSES["pack"])
        expect(page.locator("details.numbers table")).to_have_count(0)
        for place, rows in ((1, 64), (3, 11)):
            fold = page.locator("details.numbers").nth(place)
            fold.locator("summary").click()
            expect(fold.locator("table").first.locator("tbody tr")).to_have_count(rows)
        columns = page.locator("details.numbers").nth(1).locator("thead th").all_inner_texts()
        assert columns == ["Up to the run of", "Runs so far", "Cell 1", "Cell 2", "Cell 3", "Lowest under the others"]
        page.evaluate("document.querySelector('table.cards tbody th a').click()")
        expect(page.get_by_role("heading", name="Charge taken out")).to_be_visible()
        for fold in page.locator("details.numbers").all():
            boxes = fold.locator("[data-numbers]").all()
            assert all(box.locator("table").count() == int(fold.evaluate("one => one.open")) for box in boxes)
        assert watched.wrong == []


def test_when_the_program_is_away_the_page_says_so(chromium: Browser, serve: Serve) -> None:
    with context_of(chromium) as context, serve(CLUB) as base:
        watched = Watched(context, base)
        page = watched.open("/")
        expect(page.locator("#link-lost")).to_be_hidden()
        context.set_offline(True)
        page.get_by_role("link", name="Packs", exact=True).click()
        expect(page.get_by_text("The program cannot be reached")).to_be_visible()
        context.set_offline(False)
        expect(page.get_by_text("can be reached again")).to_be_visible(timeout=9000)


def test_signing_in_on_a_phone(chromium: Browser, serve: Serve) -> None:
    with serve(CLUB, Access(password="pond and paddle")) as base, context_of(chromium, scheme="dark") as context:
        watched = Watched(context, base)
        page = watched.page
        page.goto(base + pack_address("100% ½ #1?"))
        page.evaluate(AXE)
        assert page.evaluate(RUN_AXE) == []
        box = page.get_by_label("Password").bounding_box()
        assert box is not None
        assert box["height"] >= 44
        page.get_by_label("Password").fill("wrong one")
        page.get_by_role("button", name="Sign in").click()
        expect(page.get_by_role("alert")).to_contain_text("not the password")
        assert page.evaluate("document.documentElement.scrollWidth") <= 390
        page.get_by_label("Password").fill("pond and paddle")
        page.get_by_role("button", name="Sign in").click()
        expect(page.locator("#page h1")).to_have_text("100% ½ #1?")
