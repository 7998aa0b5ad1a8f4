"""A dashboard on a real database of its own, and how a test sends files to it."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from io import BytesIO
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest
from flask.testing import FlaskClient

from dashboard.app import create_app
from dashboard.exchange.desk import Desk
from tests.dashboard.test_app import shown
from tests.tracker.small_logbook import FILES, write
from tracker.services import Services, open_services


class Door:
    """A browser's side of the doors."""

    def __init__(self, services: Services) -> None:
        app = create_app(services)
        self.services = services
        self.client: FlaskClient = app.server.test_client()
        desk = app.server.extensions["exchange"]
        assert isinstance(desk, Desk)
        self.desk = desk

    def post(self, path: str, **fields: Any) -> Any:
        return self.client.post(path, data=fields, content_type="multipart/form-data")

    def send(self, *files: tuple[str, str | bytes], field: str = "files", to: str = "/data/files") -> str:
        """Send files; the address they are then found at."""
        sent = [(BytesIO(body.encode() if isinstance(body, str) else body), name) for name, body in files]
        answer = self.post(to, **{field: sent})
        assert answer.status_code == 303, answer.text
        return str(answer.headers["Location"])

    def send_logbook(self, **changed: str) -> str:
        return self.send(*((f"{kind}.csv", changed.get(kind, text)) for kind, text in FILES.items()))

    def settle(self) -> None:
        """Wait for all work to end."""
        for job in self.desk.jobs.under_way():
            assert job.wait(30)

    def shown(self, address: str) -> str:
        """What the page at an address says, once all work has ended."""
        self.settle()
        return shown(self.client, address)

    def store(self, address: str, replace: str = "no") -> Any:
        self.settle()
        answer = self.post(f"/data/files/{token(address)}/store", replace=replace)
        self.settle()
        return answer

    def runs(self) -> int:
        return self.services.database.contents().numbers["runs"]


def token(address: str) -> str:
    """The token in an address."""
    [value] = next(iter(parse_qs(urlsplit(address).query).values()))
    return value


@pytest.fixture
def services(tmp_path: Path) -> Iterator[Services]:
    with open_services(f"sqlite:///{tmp_path / 'logbook.sqlite3'}") as opened:
        yield opened


@pytest.fixture
def door(services: Services) -> Door:
    return Door(services)


@pytest.fixture(scope="session")
def stocked(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The small logbook in a database, estimated, as one file."""
    folder = tmp_path_factory.mktemp("stocked")
    with open_services(f"sqlite:///{folder / 'made.sqlite3'}") as services:
        services.exchange.import_files(write(folder / "in"))
        services.runs.refresh()
        return services.exchange.backup(folder / "stocked.sqlite3")


@pytest.fixture
def filled(stocked: Path, tmp_path: Path) -> Iterator[Door]:
    file = tmp_path / "logbook.sqlite3"
    shutil.copy(stocked, file)
    with open_services(f"sqlite:///{file}") as services:
        yield Door(services)
