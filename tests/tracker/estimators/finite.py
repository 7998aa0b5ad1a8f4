"""Looking through records for numbers that are none."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import fields, is_dataclass
from typing import Any

import numpy as np

from tracker.domain.results import Estimate


def faults(record: Any, where: str = "") -> Iterator[str]:
    """Every number that is no number and every interval that does not hold its own value, by its place in the record."""
    if isinstance(record, np.ndarray):
        if not np.isfinite(record).all():
            yield f"{where} is {record}"
    elif isinstance(record, float):
        if not math.isfinite(record):
            yield f"{where} is {record}"
    elif is_dataclass(record):
        if isinstance(record, Estimate) and not (record.low <= record.value <= record.high and record.sd >= 0.0):
            yield f"{where} is {record}"
        for each in fields(record):
            yield from faults(getattr(record, each.name), f"{where}.{each.name}")
    elif isinstance(record, dict):
        for key, value in record.items():
            yield from faults(value, f"{where}[{key!r}]")
    elif isinstance(record, (list, tuple)):
        for place, value in enumerate(record):
            yield from faults(value, f"{where}[{place}]")
