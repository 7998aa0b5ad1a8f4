"""What a person needs to know of each chemistry to tell which one a pack is."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from tracker import chemistry


@dataclass(frozen=True, kw_only=True, slots=True)
class CellVoltages:
    """The voltages of one cell of a chemistry."""

    chemistry: str
    nominal_v: float
    """By which a pack is named: 7.4 V for two lithium polymer cells."""
    full_v: float
    lithium: bool


@cache
def cell_voltages() -> tuple[CellVoltages, ...]:
    """Return the voltages of every chemistry there is a file for."""
    return tuple(_of(chemistry.load(key)) for key in chemistry.names())


def _of(kind: chemistry.Chemistry) -> CellVoltages:
    return CellVoltages(chemistry=kind.key, nominal_v=kind["nominal_v"], full_v=kind["full_v"], lithium=kind.family == "lithium")
