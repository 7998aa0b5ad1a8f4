"""A real database for each test: SQLite always, PostgreSQL when PACK_TRACKER_TEST_POSTGRES names a server."""

from __future__ import annotations

import os
import uuid
from collections.abc import Iterator
from pathlib import Path

import psycopg
import pytest
from sqlalchemy.engine import make_url

from tracker.store.database import Store, open_store
from tracker.store.tables import Base

POSTGRES = "PACK_TRACKER_TEST_POSTGRES"


def new_postgres_schema() -> Iterator[str]:
    """Yield the URL of an empty schema of its own, dropped afterwards, so that tests leave nothing to each other."""
    server = os.environ.get(POSTGRES)
    if not server:
        pytest.skip(f"{POSTGRES} names no PostgreSQL server; '.ci/postgres start FOLDER' starts one and prints its URL")
    schema = f"test_{uuid.uuid4().hex}"
    with psycopg.connect(server, autocommit=True) as connection:
        connection.execute(f"CREATE SCHEMA {schema}")
        try:
            yield make_url(server).update_query_dict({"options": f"-csearch_path={schema}"}).render_as_string(hide_password=False)
        finally:
            connection.execute(f"DROP SCHEMA {schema} CASCADE")


@pytest.fixture(params=["sqlite", "postgresql"])
def url(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """The URL of an empty database, of each kind in turn."""
    if request.param == "sqlite":
        yield f"sqlite:///{tmp_path / 'logbook.sqlite3'}"
    else:
        yield from new_postgres_schema()


@pytest.fixture
def store(url: str) -> Iterator[Store]:
    """An empty store, of each kind in turn."""
    with open_store(url) as opened:
        yield opened


@pytest.fixture
def file_store(tmp_path: Path) -> Iterator[Store]:
    """An empty store in an SQLite file."""
    with open_store(f"sqlite:///{tmp_path / 'logbook.sqlite3'}") as opened:
        yield opened


@pytest.fixture
def postgres_store() -> Iterator[Store]:
    """An empty store on PostgreSQL."""
    for name in new_postgres_schema():
        with open_store(name) as opened:
            yield opened


@pytest.fixture(scope="module", params=["sqlite", "postgresql"])
def module_store(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    """One store for all tests of a file, of each kind in turn."""
    if request.param == "sqlite":
        urls = iter([f"sqlite:///{tmp_path_factory.mktemp('store') / 'logbook.sqlite3'}"])
    else:
        urls = new_postgres_schema()
    for name in urls:
        with open_store(name) as opened:
            yield opened


@pytest.fixture
def emptied_store(module_store: Store) -> Iterator[Store]:
    """The file's store, emptied after each test: for files of very many short tests."""
    yield module_store
    with module_store.writing() as records:
        for table in reversed(Base.metadata.sorted_tables):
            records.connection.execute(table.delete())
