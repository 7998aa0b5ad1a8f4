"""What every page costs on a logbook of 10,000 runs: bytes, largest content, shifts, and its callback.

Run with: python -m tests.benchmarks.pages_speed
"""

from __future__ import annotations

import shutil
import tempfile
from pathlib import Path
from typing import Any

from playwright.sync_api import sync_playwright

from dashboard.app import create_app
from tests.dashboard.conftest import FLAGS, served
from tests.dashboard.measuring import callback_ms, cost_of, ten_thousand_runs
from tests.dashboard.test_browser import SIZES
from tests.dashboard.test_browser_budgets import OWN_DOCUMENTS, PAGES
from tracker.services import open_services


def main() -> None:
    """Measure and print."""
    path = shutil.which("chromium") or "chromium"
    with tempfile.TemporaryDirectory() as folder, open_services(f"sqlite:///{Path(folder) / 'logbook.sqlite3'}") as services:
        ten_thousand_runs(services, Path(folder))
        app: Any = create_app(services)
        for page, address in PAGES.items():
            if page in OWN_DOCUMENTS:
                continue
            where, _, search = address.partition("?")
            middle, most, busy = callback_ms(app, where, f"?{search}" if search else "", times=40)
            print(f"{page:12} callback {middle:6.0f} ms (median) {most:6.0f} ms (95 %), of which {busy:5.0f} ms computing")
        with sync_playwright() as playwright, served(services) as base:
            browser = playwright.chromium.launch(executable_path=path, args=FLAGS)
            for size in SIZES.values():
                for page, address in PAGES.items():
                    cost = cost_of(browser, base + address, size, times=5)
                    print(
                        f"{size[0]:5} {page:12} {cost.wire_kb:6.0f} kB {cost.requests:3} requests, largest content {cost.largest_ms:5.0f} ms, "
                        f"shift {cost.shifted:.3f}"
                    )
            browser.close()


if __name__ == "__main__":
    main()
