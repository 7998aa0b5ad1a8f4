"""What a page costs: bytes over the wire, time to its largest content, shifts of its layout, and what its callback takes."""

from __future__ import annotations

import random
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from statistics import median
from time import perf_counter, process_time
from typing import Any

from playwright.sync_api import Browser

from tracker.services import Services

START = datetime(2024, 3, 1, 9, tzinfo=UTC)
WATCH = """window.largest = 0; window.shifted = 0;
new PerformanceObserver(list => list.getEntries().forEach(one => { window.largest = one.startTime; })).observe({type: 'largest-contentful-paint', buffered: true});
new PerformanceObserver(list => list.getEntries().forEach(one => { if (!one.hadRecentInput) window.shifted += one.value; })).observe({type: 'layout-shift', buffered: true});"""
SETTLED = "() => document.querySelector('h1') && [...document.querySelectorAll('.chart')].every(chart => chart.querySelector('.main-svg'))"


@dataclass(frozen=True, slots=True)
class Cost:
    """Of one page, opened with nothing kept from before."""

    wire_kb: float
    requests: int
    largest_ms: float
    shifted: float


def ten_thousand_runs(services: Services, folder: Path, packs: int = 50, each: int = 200) -> None:
    """Fill a logbook: so many packs with so many runs, every fourth counted by the charger, all estimated."""
    chance = random.Random(11)
    files = {
        "packs": ["pack,chemistry,series,capacity_mah", *(f"pack {number},lipo,2,5000" for number in range(packs))],
        "controllers": ["controller,cutoff_mode,cutoff_v", "left,pack_v,6.4"],
        "vehicles": ["vehicle,controllers,usual_a", "buggy,left,14"],
        "runs": ["pack,vehicle,started_at,run_min,rest_before_min,before_v,after_v,rest_after_min,pack_c,ended_by"],
        "charges": ["pack,finished_at,put_back_mah,goal"],
    }
    for number in range(packs * each):
        at = START + timedelta(days=number // packs, minutes=number % 60)
        before, after = (" ".join(f"{volts + chance.gauss(0, 0.01):.2f}" for _ in range(2)) for volts in (4.17, chance.uniform(3.68, 3.85)))
        files["runs"].append(
            f"pack {number % packs},buggy,{at:%Y-%m-%dT%H:%MZ},{chance.uniform(9, 15):.1f},60,{before},{after},30,20,driver"
        )
        counted = f"{chance.uniform(2600, 3600):.0f}" if number // packs % 4 == 0 else ""
        files["charges"].append(f"pack {number % packs},{at + timedelta(hours=3):%Y-%m-%dT%H:%MZ},{counted},full")
    paths = []
    for name, lines in files.items():
        paths.append(folder / f"{name}.csv")
        paths[-1].write_text("\n".join(lines) + "\n", encoding="utf-8")
    services.exchange.import_files(paths)
    services.runs.refresh()


def cost_of(browser: Browser, address: str, size: tuple[int, int], *, times: int = 1) -> Cost:
    """Open a page in a browser that knows nothing of it; of several times the middle one by its largest content."""
    return sorted((_opened(browser, address, size) for _ in range(times)), key=lambda cost: cost.largest_ms)[times // 2]


def _opened(browser: Browser, address: str, size: tuple[int, int]) -> Cost:
    with browser.new_context(viewport={"width": size[0], "height": size[1]}, reduced_motion="reduce") as context:
        page = context.new_page()
        page.set_default_timeout(60_000)
        page.add_init_script(WATCH)
        wire = [0.0, 0]
        session = context.new_cdp_session(page)
        session.send("Network.enable")

        def finished(event: dict[str, Any]) -> None:
            wire[0] += float(event["encodedDataLength"])
            wire[1] += 1

        session.on("Network.loadingFinished", finished)
        page.goto(address, wait_until="networkidle")
        page.wait_for_function(SETTLED)
        page.wait_for_timeout(200)
        return Cost(wire[0] / 1000, int(wire[1]), page.evaluate("window.largest"), page.evaluate("window.shifted"))


def callback_ms(app: Any, path: str, search: str = "", *, times: int = 20) -> tuple[float, float, float]:
    """Median and 95th percentile of what a page's own callback takes, and the median of it that is computing [ms]."""
    client = app.server.test_client()
    outputs = [{"id": name, "property": kind} for name, kind in (("_pages_content", "children"), ("_pages_store", "data"))]
    inputs = [{"id": "_pages_location", "property": name, "value": value} for name, value in (("pathname", path), ("search", search))]
    body = {
        "output": ".._pages_content.children..._pages_store.data..",
        "outputs": outputs,
        "inputs": inputs,
        "changedPropIds": ["_pages_location.pathname", "_pages_location.search"],
    }
    took, busy = [], []
    for _ in range(times + 1):
        start, working = perf_counter(), process_time()
        answer = client.post("/_dash-update-component", json=body)
        took.append(1000 * (perf_counter() - start))
        busy.append(1000 * (process_time() - working))
        assert answer.status_code == 200
    # The first brings in what is needed by all later ones.
    took, busy = sorted(took[1:]), busy[1:]
    return median(took), took[min(len(took) - 1, round(0.95 * len(took)))], median(busy)
