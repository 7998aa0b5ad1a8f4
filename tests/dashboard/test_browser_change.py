"""Writing down and changing in a real browser, on a real logbook: from an empty database on, by keyboard, in two tabs, with hostile names."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from dashboard.addresses import change_address
from dashboard.components.change_fields import FORMS
from tests.dashboard.conftest import Serve
from tests.dashboard.fake_plans import HOSTILE
from tests.dashboard.test_browser import AXE, COLOURS, RUN_AXE, SIZES, Watched, context_of
from tests.dashboard.test_changing import KEYS, RECORDS
from tracker.domain.controller import Controller
from tracker.domain.pack import Pack
from tracker.services import Services, open_services


@pytest.fixture
def logbook(tmp_path: Path) -> Iterator[Services]:
    """An empty one."""
    with open_services(f"sqlite:///{tmp_path / 'logbook.sqlite3'}") as services:
        yield services


def choose(page: Page, label: str, words: str) -> None:
    page.get_by_role("textbox", name=label).press("ArrowDown")
    page.get_by_role("option", name=words).click()


def arrived(page: Page, heading: str) -> None:
    expect(page.locator("#page h1")).to_have_text(heading)


def clean(page: Page, width: int) -> None:
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    page.evaluate(AXE)
    assert page.evaluate(RUN_AXE) == []


def test_a_new_user_comes_from_nothing_to_a_pack_and_takes_things_back(chromium: Browser, serve: Serve, logbook: Services) -> None:
    with serve(logbook) as base, context_of(chromium) as context:
        watched = Watched(context, base)
        page = watched.open("/controllers")
        page.get_by_role("link", name="Add a controller").first.click()
        page.get_by_label("Name").fill("left-track")
        choose(page, "It lets go", "at a voltage of the whole pack")
        page.get_by_label("Cutoff, V").fill("6,4")
        page.get_by_label("Cutoff, V").press("Enter")
        arrived(page, "Controllers")
        expect(page.locator("#done-words")).to_contain_text("'left-track' written down")

        page.get_by_role("link", name="Add a model").first.click()
        page.get_by_label("Name").fill("Snow groomer")
        choose(page, "Controllers in it", "left-track")
        page.keyboard.press("Escape")
        page.get_by_role("button", name="Add this model").click()
        arrived(page, "Controllers")
        assert logbook.controllers.vehicles()[0].controllers == ("left-track",)

        page.goto(base + "/")
        page.get_by_role("link", name="Add a pack").click()
        page.get_by_role("button", name="Add this pack").click()
        expect(page.get_by_label("Name")).to_be_focused()
        expect(page.get_by_role("alert").filter(has_text="Not saved")).to_be_visible()
        page.get_by_label("Name").fill(HOSTILE)
        page.get_by_label("Cells in series").fill("two")
        choose(page, "Chemistry", "Lithium polymer: 3.7")
        page.get_by_label("Rated capacity, mAh").fill("3200")
        page.get_by_role("button", name="Add this pack").click()
        expect(page.get_by_label("Cells in series")).to_be_focused()
        expect(page.get_by_label("Cells in series")).to_have_attribute("aria-invalid", "true")
        expect(page.get_by_label("Name")).to_have_value(HOSTILE)
        clean(page, SIZES["phone"][0])
        page.get_by_label("Cells in series").fill("2")
        page.get_by_role("button", name="Add this pack").dblclick()
        arrived(page, HOSTILE)
        assert [change.words for change in logbook.edits.recent(3)].count(f"Pack '{HOSTILE}' written down") == 1

        page.get_by_role("link", name="Change this pack").click()
        page.get_by_label("Name").fill("Tug 1")
        page.get_by_role("button", name="Save").click()
        arrived(page, "Tug 1")
        page.get_by_role("button", name="Undo").click()
        arrived(page, HOSTILE)

        page.get_by_role("link", name="Retire").click()
        expect(page.locator("#retire")).to_be_focused()
        page.get_by_role("button", name="Retire this pack").click()
        expect(page.get_by_role("link", name="Take back into use")).to_be_visible()
        page.get_by_role("button", name="Undo").click()
        expect(page.get_by_role("link", name="Retire")).to_be_visible()
        arrived(page, HOSTILE)

        page.get_by_role("link", name="Change this pack").click()
        page.get_by_role("button", name="Delete this pack…").click()
        expect(page.get_by_role("dialog")).to_contain_text(f"{HOSTILE} goes")
        page.get_by_role("button", name="Delete this pack", exact=True).click()
        arrived(page, "Packs")
        assert not logbook.packs.all()
        page.get_by_role("button", name="Undo").click()
        arrived(page, HOSTILE)
        assert logbook.packs.all()[0].capacity_ah == 3.2
        assert watched.wrong == []
        assert watched.strangers() == []


def test_two_tabs_cannot_overwrite_each_other(chromium: Browser, serve: Serve, logbook: Services) -> None:
    logbook.edits.save(Pack(name="Tug 1", chemistry="lipo", series=2, capacity_ah=3.2))
    with serve(logbook) as base, context_of(chromium) as context:
        one, two = Watched(context, base), Watched(context, base)
        for tab in (one, two):
            tab.open(change_address("pack", "Tug 1"))
        one.page.get_by_label("Rated capacity, mAh").fill("3300")
        one.page.get_by_role("button", name="Save").click()
        arrived(one.page, "Tug 1")
        two.page.get_by_label("Rated capacity, mAh").fill("3400")
        two.page.get_by_role("button", name="Save").click()
        expect(two.page.get_by_role("alert").filter(has_text="changed elsewhere")).to_be_visible()
        expect(two.page.get_by_label("Rated capacity, mAh")).to_have_value("3400")
        assert logbook.packs.get("Tug 1").capacity_ah == 3.3
        assert one.wrong + two.wrong == []


def test_by_keyboard_alone_a_run_is_written_down_and_deleted(chromium: Browser, serve: Serve, logbook: Services) -> None:
    logbook.edits.save(Pack(name="Tug 1", chemistry="lipo", series=2, capacity_ah=3.2))
    with serve(logbook) as base, context_of(chromium, SIZES["desktop"]) as context:
        page = Watched(context, base).open(change_address("run", pack="Tug 1"))
        keys = page.keyboard

        def tab_to(label: str) -> None:
            target = page.get_by_role("textbox", name=label)
            for _ in range(40):
                if target.evaluate("field => field === document.activeElement"):
                    return
                keys.press("Tab")
            pytest.fail(f"{label} cannot be reached")

        tab_to("Ran for, min")
        keys.type("14")
        tab_to("What ended it")
        keys.press("ArrowDown")
        keys.press("ArrowDown")
        keys.press("Enter")
        expect(page.get_by_role("textbox", name="What ended it")).to_have_value("controller cut off")
        keys.press("Shift+Tab")
        keys.press("Enter")
        arrived(page, "Tug 1")
        [run] = logbook.runs.assess("Tug 1")
        assert (run.run.run_s, run.run.ended_by) == (840.0, "cutoff")

        page.get_by_role("link", name="Change or remove this run").focus()
        keys.press("Enter")
        arrived(page, "Change this run")
        page.get_by_role("button", name="Delete this run…").focus()
        keys.press("Enter")
        expect(page.get_by_role("dialog")).to_be_visible()
        keys.press("Escape")
        expect(page.get_by_role("dialog")).to_have_count(0)
        expect(page.get_by_role("button", name="Delete this run…")).to_be_focused()
        keys.press("Enter")
        page.get_by_role("button", name="Delete this run", exact=True).focus()
        keys.press("Enter")
        arrived(page, "Tug 1")
        assert logbook.runs.assess("Tug 1") == ()


def test_every_form_is_clean(chromium: Browser, serve: Serve, logbook: Services) -> None:
    logbook.edits.save(Controller(name="left", cutoff_mode="none"))
    for kind in ("controller", "vehicle", "pack", "run", "charge", "bench"):
        logbook.edits.save(RECORDS[kind])
    with serve(logbook) as base, context_of(chromium) as context:
        watched = Watched(context, base)
        for kind in FORMS:
            page = watched.open(change_address(kind, KEYS[kind]))
            page.get_by_role("button", name="Delete this").wait_for()
            page.evaluate("document.querySelectorAll('details').forEach(fold => { fold.open = true; })")
            page.set_viewport_size({"width": SIZES["desktop"][0], "height": SIZES["desktop"][1]})
            page.emulate_media(color_scheme="light")
            assert page.evaluate("document.documentElement.scrollWidth") <= SIZES["desktop"][0]
            page.evaluate(AXE)
            assert page.evaluate(RUN_AXE, COLOURS) == []
            page.set_viewport_size({"width": SIZES["phone"][0], "height": SIZES["phone"][1]})
            page.emulate_media(color_scheme="dark")
            clean(page, SIZES["phone"][0])
            page.set_viewport_size({"width": 320, "height": 640})
            assert page.evaluate("document.documentElement.scrollWidth") <= 320, kind
        page.get_by_role("button", name="Delete this").click()
        expect(page.get_by_role("dialog")).to_be_visible()
        clean(page, 320)
        assert watched.wrong == []
        assert watched.strangers() == []
