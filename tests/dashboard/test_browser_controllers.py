"""A bench test taken in a real browser, by finger and by keyboard alone; the form for moving a trip point; hostile names."""

from __future__ import annotations

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.dashboard.conftest import Serve
from tests.dashboard.fakes import HOSTILE, club_services
from tests.dashboard.test_browser import AXE, RUN_AXE, Watched, context_of


def press(page: Page, name: str) -> None:
    """Go by Tab to the button of that name and press it."""
    for _ in range(60):
        if page.evaluate("document.activeElement.textContent") == name:
            break
        page.keyboard.press("Tab")
    page.keyboard.press("Enter")


def test_a_bench_test_by_keyboard_alone(chromium: Browser, serve: Serve) -> None:
    services = club_services()
    with serve(services) as base, context_of(chromium) as context:
        watched = Watched(context, base)
        page = watched.open("/controllers?controller=Right%20track")
        so_far, listed = page.locator("#bench-so-far"), page.locator("#bench-list li")
        page.get_by_label("Supply now").focus()
        page.keyboard.type("5,2")
        press(page, "Running")
        expect(so_far).to_contain_text("Noted 5.20")
        for step in ("−0.10", "Running", "−0.05", "Running", "−0.05", "Stopped"):
            page.get_by_label("Supply now").focus()
            press(page, step)
        expect(listed).to_have_count(4)
        expect(so_far).to_contain_text("Lets go at 5.0")
        assert page.get_by_label("Supply now").input_value() == "5,00"
        page.get_by_label("Supply now").focus()
        press(page, "Running")
        expect(listed).to_have_count(5)
        page.get_by_label("Supply now").focus()
        press(page, "Undo the last step")
        expect(listed).to_have_count(4)
        page.evaluate(AXE)
        assert page.evaluate(RUN_AXE) == []
        assert services.controllers.stored[-1].controller != "Right track"
        press(page, "Save this test")
        expect(page.locator("#bench-said")).to_contain_text("Saved.")
        expect(listed).to_have_count(0)
        expect(page.locator("#controllers-list tr", has_text="Right track").first).to_contain_text("let go 1 time")
        saved = services.controllers.stored[-1]
        assert [(one.supply_v, one.running) for one in saved.readings] == [(5.2, True), (5.1, True), (5.05, True), (5.0, False)]
        assert watched.wrong == []


def test_quick_taps_are_all_kept_and_outlast_a_reload(chromium: Browser, serve: Serve) -> None:
    with serve(club_services()) as base, context_of(chromium) as context:
        watched = Watched(context, base)
        page = watched.open("/controllers?controller=Right%20track")
        page.get_by_label("Supply now").fill("6.60")
        for _ in range(7):
            page.locator("#bench-down-5").dispatch_event("click")
        expect(page.get_by_label("Supply now")).to_have_value("6.25")
        page.get_by_role("button", name="Running").click()
        page.get_by_role("button", name="Stopped").click()
        expect(page.locator("#bench-list li")).to_have_count(2)
        page.reload()
        expect(page.locator("#bench-list li")).to_have_count(2)
        page.get_by_label("Controller on the bench").select_option("Left track")
        expect(page.locator("#bench-list")).to_contain_text("No step yet")
        page.go_back()
        expect(page.get_by_label("Controller on the bench")).to_have_value("Right track")
        expect(page.locator("#bench-list li")).to_have_count(2)
        assert watched.wrong == []


def test_what_cannot_be_read_is_said_and_is_not_saved(chromium: Browser, serve: Serve) -> None:
    services = club_services()
    with serve(services) as base, context_of(chromium) as context:
        before = len(services.controllers.stored)
        watched = Watched(context, base)
        page = watched.open("/controllers")
        page.get_by_label("Controller on the bench").select_option(HOSTILE)
        page.get_by_label("Supply now").fill("<b>x")
        page.get_by_role("button", name="Stopped").click()
        expect(page.locator("#bench-so-far")).to_contain_text("'<b>x' is not a number")
        page.get_by_role("button", name="Save this test").click()
        expect(page.locator("#bench-said")).to_contain_text("Not saved.")
        assert len(services.controllers.stored) == before
        assert watched.wrong == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_resistor_is_found_and_the_address_keeps_what_was_asked(chromium: Browser, serve: Serve, scheme: str) -> None:
    with serve(club_services()) as base, context_of(chromium, scheme=scheme) as context:
        watched = Watched(context, base)
        page = watched.open("/controllers?controller=Left%20track")
        for label, text in (("Top resistor", "10k"), ("Bottom resistor", "10k"), ("Lets go now", "5,05"), ("Shall let go", "6,4")):
            page.get_by_label(label).fill(text)
        page.keyboard.press("Enter")
        expect(page.locator("#divider-answer .headline")).to_contain_text("18")
        assert "controller=Left" in page.url
        page.evaluate(AXE)
        assert page.evaluate(RUN_AXE) == []
        assert page.evaluate("document.documentElement.scrollWidth") <= 390
        page.get_by_label("Values to choose from").select_option("E96")
        expect(page.locator("#divider-answer .headline")).to_contain_text("18.7")
        page.reload()
        expect(page.locator("#divider-answer .headline")).to_contain_text("18.7")
        assert watched.wrong == []


def test_buttons_are_large_enough_for_a_thumb(chromium: Browser, serve: Serve) -> None:
    with serve(club_services()) as base, context_of(chromium) as context:
        page = Watched(context, base).open("/controllers")
        for one in page.locator(".recorder button, .ask select, .ask button, .ask summary").all():
            box = one.bounding_box()
            assert box is not None
            assert box["height"] >= 44
            assert box["width"] >= 44
