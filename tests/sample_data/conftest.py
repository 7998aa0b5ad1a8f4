from __future__ import annotations

import csv

import pytest

from sample_data import csv_files
from sample_data.season import Season, simulate_season

Rows = dict[str, list[dict[str, str]]]


@pytest.fixture(scope="session")
def rows() -> Rows:
    """The committed files, by kind."""
    return {path.name.removesuffix(".csv"): list(csv.DictReader(path.read_text("utf-8").splitlines())) for path in csv_files()}


@pytest.fixture(scope="session")
def season() -> Season:
    return simulate_season()
