"""Every page in a real browser: phone and desktop, light and dark; nothing from outside, nothing amiss, usable without a mouse."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import axe_playwright_python
import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect

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
SETTLED = "() => [...document.querySelectorAll('.chart')].every(chart => chart.querySelector('.main-svg .xtick, .main-svg .trace'))"
RUN_AXE = """async () => (await axe.run(document, {runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice']}))
    .violations.map(one => one.id + ': ' + one.nodes.map(node => node.target.join(' ')).slice(0, 4).join(' | '))"""
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

    def open(self, address: str) -> Page:
        self.page.goto(self.base + address)
        self.page.wait_for_selector("#page h1")
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


@pytest.mark.parametrize(
    ("kind", "scheme", "addresses"),
    [("phone", "light", ADDRESSES), ("phone", "dark", PLAIN), ("desktop", "light", PLAIN), ("desktop", "dark", ADDRESSES)],
    ids=["phone-light", "phone-dark", "desktop-light", "desktop-dark"],
)
def test_every_page_is_clean(chromium: Browser, club: str, kind: str, scheme: str, addresses: dict[str, str]) -> None:
    size = SIZES[kind]
    with context_of(chromium, size, scheme) as context:
        watched = Watched(context, club)
        found: dict[str, Any] = {}
        for name, address in addresses.items():
            page = watched.open(address)
            if page.evaluate("document.documentElement.scrollWidth") > size[0]:
                found[f"{name}: wider than the screen"] = page.evaluate("document.documentElement.scrollWidth")
            # A missing page says so with its status, which the browser reports; it is the one thing expected.
            expected = [one for one in watched.wrong if name == "nowhere" and "404" in one]
            if amiss := [one for one in watched.wrong if one not in expected]:
                found[f"{name}: errors"] = amiss
            watched.wrong.clear()
            page.evaluate(AXE)
            if violations := page.evaluate(RUN_AXE):
                found[f"{name}: axe"] = violations
            if said := page.locator("#notice").inner_text():
                found[f"{name}: says that something went wrong"] = said
        assert watched.strangers() == []
        assert found == {}


def test_opened_folds_are_clean_too(chromium: Browser, club: str) -> None:
    with context_of(chromium, scheme="dark") as context:
        watched = Watched(context, club)
        for address in (ADDRESSES["today"], ADDRESSES["pack"]):
            page = watched.open(address)
            page.evaluate("document.querySelectorAll('details').forEach(fold => { fold.open = true; })")
            assert page.evaluate("document.documentElement.scrollWidth") <= 390
            page.evaluate(AXE)
            assert page.evaluate(RUN_AXE) == []


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


def test_every_name_leads_to_its_page_and_survives_a_reload(chromium: Browser, club: str) -> None:
    with context_of(chromium) as context:
        watched = Watched(context, club)
        for name in NAMES:
            page = watched.open("/pack")
            page.get_by_role("link", name=name, exact=True).click()
            expect(page.locator("#page h1")).to_have_text(name)
            page.reload()
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


def test_fingers_find_what_they_aim_at(chromium: Browser, club: str) -> None:
    small = """() => [...document.querySelectorAll('a, summary, button')].filter(one => one.offsetParent && !one.classList.contains('skip'))
        .map(one => [one.textContent, one.getBoundingClientRect().height]).filter(([text, height]) => height < 24)"""
    with context_of(chromium) as context:
        watched = Watched(context, club)
        for address in (ADDRESSES["today"], ADDRESSES["pack"], ADDRESSES["packs"]):
            page = watched.open(address)
            # Links inside a sentence are excepted (WCAG 2.2, 2.5.8); ours stand in the footer only.
            assert [one for one in page.evaluate(small) if one[0] != "Safety"] == []
        assert all(box["height"] >= 44 for box in (link.bounding_box() for link in page.locator(".menu-link").all()) if box)


def test_the_chart_is_drawn_in_the_page_s_colours(chromium: Browser, club: str) -> None:
    inks = []
    for scheme in ("light", "dark"):
        with context_of(chromium, scheme=scheme) as context:
            watched = Watched(context, club)
            page = watched.open(ADDRESSES["pack"])
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


def test_words_in_the_charts_do_not_lie_on_each_other(chromium: Browser, club: str) -> None:
    with context_of(chromium) as context:
        watched = Watched(context, club)
        for address, charts in ((ADDRESSES["pack"], 5), (ADDRESSES["cutoff"], 2), (ADDRESSES["cutoff of hostile names"], 2)):
            page = watched.open(address)
            expect(page.locator(".chart")).to_have_count(charts)
            page.wait_for_function(SETTLED)
            assert page.evaluate(OVERLAPS) == []
            assert page.evaluate(OUTSIDE) == []


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


def test_it_fits_a_very_narrow_screen(chromium: Browser, club: str) -> None:
    with context_of(chromium, (320, 640)) as context:
        watched = Watched(context, club)
        for name, address in PLAIN.items():
            page = watched.open(address)
            assert page.evaluate("document.documentElement.scrollWidth") <= 320, name
