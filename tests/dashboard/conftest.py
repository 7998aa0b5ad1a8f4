"""One browser for all the tests that need one, and a dashboard served to it."""

from __future__ import annotations

import os
import shutil
import threading
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from typing import Any

import pytest
from playwright.sync_api import Browser, expect, sync_playwright
from werkzeug.serving import WSGIRequestHandler, make_server

from dashboard.access import Access
from dashboard.app import create_app
from dashboard.needs import Services

FLAGS = ["--no-sandbox", "--disable-background-networking", "--disable-dev-shm-usage", "--no-first-run", "--disable-component-update"]

# In ms: long, for the browser shares the machine with other tests. What has come is not waited for any longer.
expect.set_options(timeout=30_000)

Launch = Callable[..., Browser]
Serve = Callable[..., AbstractContextManager[str]]


class Quiet(WSGIRequestHandler):
    """Does not write a line for every request."""

    def log_request(self, *_: Any) -> None:
        pass


@pytest.fixture(scope="session")
def launch() -> Iterator[Launch]:
    """How to start Debian's Chromium, with more flags where a test needs them; without one these tests are skipped, unless all have to run."""
    path = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    if path is None:
        reason = "no Chromium on this machine (Debian: apt-get install chromium)"
        if os.environ.get("CI") == "true":
            pytest.fail(reason)
        pytest.skip(reason)
    with sync_playwright() as playwright:
        yield lambda *more: playwright.chromium.launch(executable_path=path, args=[*FLAGS, *more])


@pytest.fixture(scope="session")
def chromium(launch: Launch) -> Iterator[Browser]:
    """One browser for all the tests that need no flags of their own."""
    with launch() as browser:
        yield browser


@contextmanager
def served(services: Services, access: Access | None = None) -> Iterator[str]:
    """The dashboard on these services at a free port of this machine; one at a time, since Dash keeps its pages by process."""
    app: Any = create_app(services, access)
    server = make_server("127.0.0.1", 0, app.server, threaded=True, request_handler=Quiet)
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_port}"
    finally:
        server.shutdown()
        thread.join()
        server.server_close()


@pytest.fixture(scope="session")
def serve() -> Serve:
    """How a test serves a dashboard of its own."""
    return served
