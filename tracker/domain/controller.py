"""Speed controllers, and the vehicles that carry them."""

from __future__ import annotations

from dataclasses import dataclass

CUTOFF_MODES = ("pack_v", "cell_v", "none")
"""How a controller decides to let go: at a pack voltage, at a voltage a cell, or never."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Controller:
    """A speed controller and where it is set to let go."""

    name: str
    cutoff_mode: str
    cutoff_v: float | None = None
    """Of the pack or of one cell, as `cutoff_mode` says."""
    restart_v: float | None = None
    load_share: float | None = None
    """Part of the vehicle's current that runs through it, 0…1."""
    powers_receiver: bool | None = None
    notes: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class Vehicle:
    """A model that runs on a pack."""

    name: str
    controllers: tuple[str, ...] = ()
    lead_ohm: float | None = None
    """Leads and connectors between pack and controllers, out and back."""
    usual_a: float | None = None
    """Mean current it usually draws."""
    notes: str = ""
