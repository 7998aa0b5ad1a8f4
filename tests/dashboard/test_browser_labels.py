"""The sheet of labels in a browser: read by an independent decoder, printed, and nothing cut off or broken."""

from __future__ import annotations

import io
import re
from urllib.parse import parse_qs, urlsplit

import pytest
import zxingcpp
from PIL import Image
from playwright.sync_api import Browser

from dashboard.access import Access
from tests.dashboard.conftest import Serve
from tests.dashboard.fake_plans import FakeControllers, FakePlanning
from tests.dashboard.fakes import NAMES, FakePacks, FakeServices
from tests.dashboard.test_browser import AXE, RUN_AXE, context_of
from tracker.domain.pack import Pack

ODD = (*NAMES, "حزمة القارب ٢", "🚤🚤", "\u202eright to left", "Wide " + "W" * 150, "a b " * 40)
PACKS = [
    Pack(name=name, chemistry="lihv", series=12, parallel=11, capacity_ah=123.456, continuous_c=12.5)
    for name in [*ODD, *(f"Pack {number}" for number in range(12))]
]
CLUB = FakeServices(FakePacks(PACKS, {}, ()), FakeControllers((), (), ()), FakePlanning((), FakeControllers((), (), ())))
BASE = "http://192.168.1.20:8050"
CUT = """() => [...document.querySelectorAll('.pack-label')].flatMap(label => {
    const box = label.getBoundingClientRect();
    return [...label.querySelectorAll('.label-words, p, dl, dt, dd, svg')].filter(part => {
        const inside = part.getBoundingClientRect();
        const clipped = !part.matches('svg, .label-name') && (part.scrollWidth > part.clientWidth + 1 || part.scrollHeight > part.clientHeight + 1);
        return clipped || inside.right > box.right + .5 || inside.bottom > box.bottom + .5 || inside.top < box.top - .5 || inside.left < box.left - .5;
    }).map(part => part.className + ': ' + part.textContent.slice(0, 40));
})"""
PLACES = """() => [...document.querySelectorAll('.pack-label')].map(label => {
    const box = label.getBoundingClientRect();
    return {box: [box.left, box.top, box.right, box.bottom], coded: label.querySelectorAll('svg').length};
})"""


@pytest.mark.parametrize(("size", "sheets"), [("small", 2), ("medium", 3), ("large", 4)])
def test_a_printed_sheet_can_be_read_and_holds_everything(chromium: Browser, serve: Serve, size: str, sheets: int) -> None:
    with serve(CLUB, Access(any_number=True)) as base, context_of(chromium, (794, 1123), "dark", device_scale_factor=2) as context:
        page = context.new_page()
        page.goto(f"{base}/labels?size={size}&base={BASE}")
        pdf = page.pdf(prefer_css_page_size=True, print_background=False)
        page.emulate_media(media="print", color_scheme="dark")
        assert page.evaluate(CUT) == []
        picture = Image.open(io.BytesIO(page.screenshot(full_page=True))).convert("L")
        places = page.evaluate(PLACES)
    assert len(re.findall(rb"/Type\s*/Page\b(?!s)", pdf)) == sheets
    assert re.search(rb"/MediaBox\s*\[\s*0 0 59[45][\d.]* 84[12]", pdf)
    assert picture.getpixel((2, 2)) == 255
    assert sum(place["coded"] for place in places) >= len(PACKS) - 2
    for place, pack in zip(places, PACKS, strict=True):
        # At 192 dots an inch, as coarse as a phone sees a print.
        part = picture.crop(tuple(2 * edge for edge in place["box"]))
        read = [one.text for one in zxingcpp.read_barcodes(part)]
        assert len(read) == place["coded"], pack.name
        for address in map(urlsplit, read):
            assert f"{address.scheme}://{address.netloc}{address.path}" == f"{BASE}/log"
            assert parse_qs(address.query, strict_parsing=True) == {"pack": [pack.name]}


@pytest.mark.parametrize(("width", "scheme"), [(320, "dark"), (1440, "light")])
def test_the_page_is_clean_and_asks_by_keyboard(chromium: Browser, serve: Serve, width: int, scheme: str) -> None:
    with serve(CLUB, Access(any_number=True)) as base, context_of(chromium, (width, 844), scheme, bypass_csp=True) as context:
        page = context.new_page()
        wrong: list[str] = []
        page.on("console", lambda message: wrong.append(message.text) if message.type == "error" else None)
        page.on("dialog", lambda dialog: wrong.append(dialog.message))
        page.goto(f"{base}/labels")
        assert page.evaluate("document.documentElement.scrollWidth") == width
        assert page.evaluate(CUT) == []
        page.add_script_tag(content=AXE)
        assert page.evaluate(RUN_AXE) == []
        assert page.get_by_role("button", name="Print").is_visible()
        page.get_by_label("Large").press(" ")
        page.get_by_label("Address the phone opens").fill("no address")
        page.keyboard.press("Enter")
        page.wait_for_selector("#base-problem")
        assert "size=large" in page.url
        assert page.get_by_label("Address the phone opens").get_attribute("aria-invalid") == "true"
        assert page.locator(".pack-label").count() == 0
        page.add_script_tag(content=AXE)
        assert page.evaluate(RUN_AXE) == []
        assert wrong == []
