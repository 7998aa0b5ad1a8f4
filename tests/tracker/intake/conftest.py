"""Builders of files, and what is wrong with them."""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tracker.errors import ImportRefusedError
from tracker.intake.logbook import Intake, read_files

Reader = Callable[..., Intake]
Complaints = Callable[..., list[str]]
SetZone = Callable[[str], None]


def _write(folder: Path, content: str | bytes, name: str) -> Path:
    path = folder / name
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return path


@pytest.fixture
def read(tmp_path: Path) -> Reader:
    """Reads one file of this content."""

    def read_content(content: str | bytes, name: str = "file.csv") -> Intake:
        return read_files([_write(tmp_path, content, name)])

    return read_content


@pytest.fixture
def complaints(tmp_path: Path) -> Complaints:
    """Refusals of one file of this content, each as `line: column: message`."""

    def refuse(content: str | bytes, name: str = "file.csv") -> list[str]:
        path = _write(tmp_path, content, name)
        with pytest.raises(ImportRefusedError) as caught:
            read_files([path])
        assert all(row.file == str(path) for row in caught.value.rows)
        return [f"{row.line}: {row.column}: {row.message}" for row in caught.value.rows]

    return refuse


@pytest.fixture
def set_zone() -> Iterator[SetZone]:
    """Sets the time zone this machine is taken to be in."""
    before = os.environ.get("TZ")

    def set_to(zone: str) -> None:
        os.environ["TZ"] = zone
        time.tzset()

    yield set_to
    if before is None:
        os.environ.pop("TZ", None)
    else:
        os.environ["TZ"] = before
    time.tzset()
