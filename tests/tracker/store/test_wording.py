"""Regression: what a database complains of is told as what it is."""

from __future__ import annotations

import sqlite3

import pytest
from sqlalchemy.exc import OperationalError

from tracker.errors import StoreError
from tracker.store.wording import plain_errors


@pytest.mark.parametrize(
    ("said", "told"),
    [
        ("database is locked", "is being written by another program"),
        ("database or disk is full", "disk .* is full"),
        ("disk I/O error", r"disk .* failed \(disk I/O error\)"),
        ("database disk image is malformed", "is damaged"),
        ("attempt to write a readonly database", "cannot be written"),
        ("no such table: pack", "refused: no such table: pack"),
    ],
)
def test_each_complaint_names_its_own_cure(said: str, told: str) -> None:
    with pytest.raises(StoreError, match=told), plain_errors():
        raise OperationalError("SELECT 1", None, sqlite3.OperationalError(said))
