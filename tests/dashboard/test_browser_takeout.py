"""Charts kept as files: a picture that shows something, and numbers another program can read."""

from __future__ import annotations

import csv
import io
import re
import struct
import zlib
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page

from dashboard.addresses import cutoff_address, pack_address
from dashboard.reading import COOKIE
from tests.dashboard.conftest import Serve
from tests.dashboard.fakes import club_services
from tests.dashboard.test_browser import SIZES, Watched, context_of

NUMBER = re.compile(r"-?\d+(\.\d+)?")


def taken(page: Page, kind: str, place: int) -> Path:
    with page.expect_download() as waiting:
        page.locator(f"button[data-take={kind}]").nth(place).click()
    path = Path(waiting.value.path())
    return path.rename(path.with_name(waiting.value.suggested_filename))


def rows_of(path: Path) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(path.read_text(encoding="utf-8-sig"))))


def colours(png: bytes) -> int:
    """How many different lines of pixels a PNG has: a blank one has a single one."""
    data, place = b"", 8
    width = struct.unpack(">I", png[16:20])[0]
    while place < len(png):
        (length,) = struct.unpack(">I", png[place : place + 4])
        if png[place + 4 : place + 8] == b"IDAT":
            data += png[place + 8 : place + 8 + length]
        place += length + 12
    raw = zlib.decompress(data)
    stride = len(raw) // struct.unpack(">I", png[20:24])[0]
    assert width > 1000
    return len({raw[start : start + stride] for start in range(0, len(raw), stride)})


@pytest.mark.parametrize("numbers", ["point", "comma"])
def test_charts_are_kept_as_picture_and_as_numbers(chromium: Browser, serve: Serve, numbers: str) -> None:
    with serve(club_services()) as base, context_of(chromium, SIZES["desktop"], "dark", accept_downloads=True) as context:
        context.add_cookies([{"name": COOKIE, "value": f"c-{numbers}-iso", "url": base}])
        watched = Watched(context, base)
        page = watched.open(pack_address("Groomer left"))
        depth = taken(page, "csv", 0)
        assert depth.name == "how-deep-each-run-took-each-cell.csv"
        rows = rows_of(depth)
        assert len(rows) == 40
        assert {"Run", "Cell 1 [%]", "Cell 1 low", "Cell 1 high", "Cell 1 in words"} <= set(rows[0])
        told = [row for row in rows if row["Cell 2 [%]"]]
        assert 30 < len(told) < 40
        assert all(row["Cell 2 in words"] == "no estimate" for row in rows if row not in told)
        for row in told:
            low, value, high = (float(row[name]) for name in ("Cell 2 low", "Cell 2 [%]", "Cell 2 high"))
            assert low <= value <= high
            assert row["Cell 2 in words"]
        capacity = rows_of(taken(page, "csv", 1))
        assert all(1000 < float(row["Cell 1 [mAh]"]) < 6000 for row in capacity if row["Cell 1 [mAh]"])
        picture = taken(page, "png", 0)
        assert picture.name == "how-deep-each-run-took-each-cell.png"
        assert colours(picture.read_bytes()) > 50
        page = watched.open(cutoff_address("Tug 1", "Snow groomer"))
        rows = rows_of(taken(page, "csv", 0))
        assert all(NUMBER.fullmatch(value) for row in rows for name, value in row.items() if name.endswith(("[V]", "[mAh]", "[min]")))
        assert watched.wrong == []
