"""A page is there before any script has run, and Dash then takes it over without anybody noticing."""

from __future__ import annotations

from playwright.sync_api import Browser, Route, expect

from dashboard.addresses import pack_address
from tests.dashboard.conftest import Serve
from tests.dashboard.fakes import club_services
from tests.dashboard.measuring import WATCH

PLACES = "() => [...document.querySelectorAll('h1, h2, .chart, table, summary')].filter(one => one.checkVisibility()).map(one => Math.round(one.getBoundingClientRect().y))"


def test_a_page_is_read_before_the_scripts_and_taken_over_where_it_was_left(chromium: Browser, serve: Serve) -> None:
    asked: list[str] = []
    held: list[Route] = []
    with serve(club_services()) as base, chromium.new_context(viewport={"width": 390, "height": 844}, reduced_motion="reduce") as context:
        page = context.new_page()
        page.add_init_script(WATCH)
        page.on("request", lambda request: asked.append(request.method + request.url.removeprefix(base).split("?")[0]))

        def hold(route: Route) -> None:
            held.append(route)

        page.route("**/dash_renderer*", hold)
        page.goto(base + pack_address("Groomer left"), wait_until="commit")
        fold = page.locator("#first-look details").first
        fold.locator("summary").click()
        link = page.locator("#first-look main a", has_text="Where its controllers")
        link.focus()
        assert page.locator("#first-look [role=alert], #first-look [role=status]").count() == 0
        before = page.evaluate(PLACES)
        while not held:
            page.wait_for_timeout(20)
        held[0].continue_()
        expect(page.locator("#first-look")).to_have_count(0)
        assert page.evaluate(PLACES) == before
        expect(page.locator("main details").first).to_have_attribute("open", "")
        expect(page.get_by_role("link", name="Where its controllers")).to_be_focused()
        expect(page.locator("h1")).to_have_count(1)
        assert page.evaluate("window.shifted") <= 0.02
        assert not [one for one in asked if one.startswith(("GET/_dash-layout", "GET/_dash-dependencies"))]
        first_posts = asked.count("POST/_dash-update-component")
        # A page come to from here is asked for as ever.
        page.get_by_role("link", name="Safety").first.click()
        expect(page.get_by_role("heading", name="Safety", level=1)).to_be_visible()
        assert asked.count("POST/_dash-update-component") > first_posts
        assert first_posts <= 1
