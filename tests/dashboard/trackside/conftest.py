"""A small logbook of an invented club, in a file of its own, so that a server can be stopped and started on it."""

from __future__ import annotations

import shutil
import threading
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient
from werkzeug.serving import BaseWSGIServer, make_server

from dashboard.access import Access
from dashboard.app import create_app
from tests.dashboard.conftest import Quiet
from tests.dashboard.fakes import HOSTILE
from tracker.domain.controller import Vehicle
from tracker.domain.pack import Pack
from tracker.domain.session import Charge, Run
from tracker.services import Services, open_services

LONG = "Very-long-name-without-any-break-" * 6
Open = Callable[[], Services]


@pytest.fixture(scope="session")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The club's logbook as it is before each test."""
    file = tmp_path_factory.mktemp("club") / "club.sqlite3"
    with open_services(f"sqlite:///{file}") as services:
        for pack in (
            Pack(name="Tug 1", chemistry="lipo", series=2, capacity_ah=3.2),
            Pack(name="Groomer left", chemistry="lipo", series=3, capacity_ah=5.0),
            Pack(name=HOSTILE, chemistry="lihv", series=2, capacity_ah=2.2),
            Pack(name=LONG, chemistry="lipo", series=3, capacity_ah=5.0),
            Pack(name="Crawler six", chemistry="nimh", series=6, capacity_ah=4.2),
        ):
            services.packs.save(pack)
        for name in ("Harbour tug", "Snow groomer", HOSTILE):
            services.controllers.save(Vehicle(name=name))
        start = datetime.now(UTC).replace(microsecond=0) - timedelta(days=4)
        services.runs.log(
            Run(
                pack="Tug 1",
                started_at=start,
                run_s=900,
                before_v=(4.19, 4.19),
                after_v=(3.80, 3.79),
                rest_after_s=1200,
                vehicle="Harbour tug",
            )
        )
        services.charges.log(Charge(pack="Tug 1", finished_at=start + timedelta(hours=3), put_back_ah=1.72, goal="full"))
    return file


@pytest.fixture
def database(tmp_path: Path, written: Path) -> Open:
    """How to open a copy of it."""
    file = tmp_path / "club.sqlite3"
    shutil.copy(written, file)
    return lambda: open_services(f"sqlite:///{file}")


@pytest.fixture
def services(database: Open) -> Iterator[Services]:
    """The club's logbook, opened."""
    with database() as opened:
        yield opened


@pytest.fixture
def client(services: Services) -> FlaskClient:
    """What asks the page's doors as a browser would."""
    client: FlaskClient = create_app(services).server.test_client()
    return client


class Track:
    """A server that can be gone and come back, on the same port and the same logbook, and counts what it sends."""

    def __init__(self, database: Open, access: Access | None = None) -> None:
        self._database, self._access = database, access
        self._port = 0
        self._server: BaseWSGIServer | None = None
        self.sent: dict[str, int] = {}

    @property
    def base(self) -> str:
        """Where it answers."""
        return f"http://127.0.0.1:{self._port}"

    def start(self) -> None:
        """Open the logbook and serve it."""
        self.services = self._database()
        app: Any = create_app(self.services, self._access)
        inner = app.server.wsgi_app
        app.server.wsgi_app = lambda environ, respond: self._counted(inner, environ, respond)
        self._server = make_server("127.0.0.1", self._port, app.server, threaded=True, request_handler=Quiet)
        self._port = self._server.server_port
        self._thread = threading.Thread(target=self._server.serve_forever, daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Be gone."""
        if self._server is not None:
            self._server.shutdown()
            self._thread.join()
            self._server.server_close()
            self.services.close()
            self._server = None

    def runs(self, pack: str) -> list[Run]:
        """What is in the logbook."""
        return [assessed.run for assessed in self.services.runs.assess(pack)]

    def _counted(self, inner: Any, environ: Any, respond: Any) -> Any:
        heads: list[int] = []

        def told(status: str, headers: Any, *more: Any) -> Any:
            heads.append(sum(len(name) + len(value) + 4 for name, value in headers) + len(status) + 11)
            return respond(status, headers, *more)

        body = b"".join(inner(environ, told))
        path = environ["PATH_INFO"]
        self.sent[path] = self.sent.get(path, 0) + len(body) + sum(heads)
        return [body]


@pytest.fixture
def track(database: Open) -> Iterator[Track]:
    """The club's logbook, served."""
    server = Track(database)
    server.start()
    yield server
    server.stop()
