"""Asking for a cutoff in a real browser: the address follows the form, back follows the address, and nobody loses their place."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, expect

from dashboard.addresses import cutoff_address
from tests.dashboard.conftest import Serve
from tests.dashboard.fakes import HOSTILE, club_services
from tests.dashboard.test_browser import AXE, RUN_AXE, Watched, context_of

ASKED = cutoff_address("Tug 1", "Snow groomer")


@pytest.fixture
def club(serve: Serve) -> Iterator[str]:
    with serve(club_services()) as base:
        yield base


def test_what_is_chosen_goes_into_the_address_and_comes_back_out_of_it(chromium: Browser, club: str) -> None:
    with context_of(chromium) as context:
        watched = Watched(context, club)
        page = watched.open("/cutoff")
        page.get_by_label("Pack", exact=True).select_option(HOSTILE)
        page.get_by_label("Model").select_option("Snow groomer")
        expect(page.locator(".headline")).to_contain_text("6.50")
        page.get_by_label("A cell below its floor").select_option("0.2")
        expect(page.locator(".headline")).to_contain_text("6.30")
        page.reload()
        expect(page.locator(".headline")).to_contain_text("6.30")
        expect(page.get_by_label("Pack", exact=True)).to_have_value(HOSTILE)
        page.go_back()
        expect(page.locator(".headline")).to_contain_text("6.50")
        expect(page.get_by_label("A cell below its floor")).to_have_value("0.01")
        # What takes longest follows: where the document brings the page, and where the form asks for another.
        expect(page.get_by_text("All together: run until")).to_be_visible()
        page.reload()
        expect(page.get_by_text("All together: run until")).to_be_visible()
        page.go_forward()
        expect(page.locator(".headline")).to_contain_text("6.30")
        expect(page.get_by_label("A cell below its floor")).to_have_value("0.2")
        page.get_by_role("link", name="Cutoff", exact=True).click()
        expect(page.get_by_text("Choose a pack and a model above")).to_be_visible()
        page.get_by_role("link", name="Today", exact=True).click()
        expect(page.locator("#page h1")).to_have_text("Today")
        page.go_back()
        page.go_back()
        expect(page.locator(".headline")).to_contain_text("6.30")
        assert watched.wrong == []


def test_who_fills_in_the_form_by_keyboard_keeps_their_place(chromium: Browser, club: str) -> None:
    with context_of(chromium) as context:
        watched = Watched(context, club)
        page = watched.open(ASKED)
        page.get_by_label("Pack temperature").focus()
        page.keyboard.press("Control+A")
        page.keyboard.type("warm")
        page.keyboard.press("Tab")
        expect(page.get_by_text("'warm' is not a number")).to_be_visible()
        expect(page.get_by_label("Mean current")).to_be_focused()
        page.evaluate(AXE)
        assert page.evaluate(RUN_AXE) == []
        page.keyboard.press("Shift+Tab")
        page.keyboard.press("Control+A")
        page.keyboard.type("-3,5")
        page.keyboard.press("Enter")
        expect(page.locator(".headline")).to_contain_text("6.50")
        expect(page.get_by_text("'warm' is not a number")).to_have_count(0)
        expect(page.get_by_label("Pack temperature")).to_be_focused()
        assert "c=-3%2C5" in page.url
        assert watched.wrong == []


def test_fields_are_large_enough_for_a_finger_and_bring_up_digits(chromium: Browser, club: str) -> None:
    with context_of(chromium) as context:
        page = Watched(context, club).open(ASKED)
        for field in page.locator("select, input:not([type=hidden]), form button").all():
            box = field.bounding_box()
            assert box is not None
            assert box["height"] >= 44
        assert {field.get_attribute("inputmode") for field in page.locator("form input:not([type=hidden])").all()} == {"decimal"}
