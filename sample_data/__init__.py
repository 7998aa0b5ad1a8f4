"""An invented club's logbook, and the script that makes it."""

from __future__ import annotations

from importlib import resources
from importlib.resources.abc import Traversable

FILE_NAMES = ("packs.csv", "vehicles.csv", "controllers.csv", "runs.csv", "charges.csv", "bench.csv")
"""The logbook's files, in an order in which each names only what an earlier one holds."""


def folder() -> Traversable:
    """Where the logbook lies, in a checkout as well as in an installed package."""
    return resources.files(__name__)


def csv_files() -> tuple[Traversable, ...]:
    """The logbook's files, in the order of `FILE_NAMES`."""
    return tuple(folder() / name for name in FILE_NAMES)
