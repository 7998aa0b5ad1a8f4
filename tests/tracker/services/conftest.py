"""Services on a real database of their own."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.tracker.small_logbook import write
from tracker.services import Services, open_services


@pytest.fixture
def url(tmp_path: Path) -> str:
    return f"sqlite:///{tmp_path / 'logbook.sqlite3'}"


@pytest.fixture
def services(url: str) -> Iterator[Services]:
    with open_services(url) as opened:
        yield opened


@pytest.fixture
def filled(services: Services, tmp_path: Path) -> Services:
    services.exchange.import_files(write(tmp_path / "small"))
    return services
