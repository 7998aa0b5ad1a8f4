"""What stands on the label of a pack."""

from __future__ import annotations

from dataclasses import dataclass

from tracker.domain.pack import Pack


@dataclass(frozen=True, kw_only=True, slots=True)
class CellVoltages:
    """The voltages of one cell that matter at the bench, as usual for the chemistry; the maker's come first."""

    full_v: float
    storage_low_v: float
    storage_high_v: float
    floor_v: float


@dataclass(frozen=True, kw_only=True, slots=True)
class PackLabel:
    """A pack, and what its chemistry asks for."""

    pack: Pack
    cell: CellVoltages
