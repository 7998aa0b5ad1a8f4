"""What a bench test shows of a controller: where it lets go and takes hold again, and how surely."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from tracker.domain.results import Finding, Quantity


@dataclass(frozen=True, kw_only=True, slots=True)
class Meter:
    """How far the reading of the supply may be off: a share of the reading and one digit, either way."""

    gain: float
    digit_v: float


@dataclass(frozen=True, kw_only=True, slots=True)
class BenchRamp:
    """A recording of one controller while the supply is turned slowly down and up."""

    controller: str
    time_s: tuple[float, ...]
    supply_v: tuple[float, ...]
    running: tuple[bool, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class BenchCrossing:
    """One time the controller let go or took hold: somewhere between two supply voltages."""

    trip: bool
    low_v: float
    high_v: float
    at: datetime | None = None
    """The time of the test it was seen in."""


@dataclass(frozen=True, kw_only=True, slots=True)
class UncertaintyPart:
    """What one cause adds to the standard uncertainty of the trip voltage."""

    cause: str
    """step, repeats, meter or delay"""
    sd_v: float


@dataclass(frozen=True, kw_only=True, slots=True)
class EarlierTrip:
    """Where the controller let go in an earlier test."""

    tested_at: datetime
    trip_v: Quantity


@dataclass(frozen=True, kw_only=True, slots=True)
class BenchResult:
    """One controller as its last tests show it."""

    controller: str
    tested_at: datetime | None
    """Of the last test; None for a recording."""
    trip_v: Quantity
    """Mean of where it lets go."""
    restart_v: Quantity
    hysteresis_v: Quantity
    """Restart less trip: what it takes to make it run again."""
    spread_v: float | None
    """Standard deviation of one trip about the mean, as far as the steps show it; None where there is one trip only."""
    drift_v: Quantity
    """From the first repeat to the last."""
    trips: int
    restarts: int
    restless: int
    """Sweeps of the supply over which it let go and took hold more than once."""
    latches: bool | None
    """Whether it stays off until it is unplugged; None where that was not tried."""
    lowest_v: float
    highest_v: float
    """The supply at the readings looked at."""
    stayed_off_v: float | None
    """The highest supply at which it was still off after a trip."""
    step_v: float | None
    """Mean width of the steps between which it let go."""
    budget: tuple[UncertaintyPart, ...] = ()
    """What makes the trip voltage uncertain."""
    crossings: tuple[BenchCrossing, ...] = ()
    """In the order of the readings."""
    earlier: tuple[EarlierTrip, ...] = ()
    """Tests of other days, oldest first."""
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True, kw_only=True, slots=True)
class BenchFileResult:
    """What a file of bench tests shows, and what is odd about the file."""

    results: tuple[BenchResult, ...]
    warnings: tuple[str, ...] = ()
