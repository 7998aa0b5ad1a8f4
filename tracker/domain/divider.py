"""A sense divider, what is known of it, and what moves its trip point."""

from __future__ import annotations

from dataclasses import dataclass

RAISES = {"across_bottom": True, "across_top": False, "series_top": True, "series_bottom": False}
"""The places where a resistor can be added, and whether it raises the trip point there."""

SERIES = ("E12", "E24", "E48", "E96", "E192")
"""Series of preferred values to choose from, coarse to fine."""

PLACE_WORDS = {
    "across_bottom": "across the bottom resistor",
    "across_top": "across the top resistor",
    "series_top": "in series with the top resistor",
    "series_bottom": "in series with the bottom resistor",
}
"""Where a resistor goes, fit for the middle of a sentence."""


@dataclass(frozen=True, kw_only=True, slots=True)
class DividerTask:
    """A divider as far as it is known, and where its controller shall let go."""

    ratio: float
    """Top over bottom part."""
    bottom_ohm: float | None
    """None where only the ratio is known."""
    trips_at_v: float
    """Where the controller lets go now, by a bench test."""
    wanted_v: float
    series: str = "E24"
    place: str | None = None
    """One of `RAISES`; None leaves it to the tool, which puts it across a part."""
    part_tolerance: float = 0.01
    reference_tolerance: float = 0.01
    """Both as shares of the value, either way."""
    bench_within_v: float = 0.05
    """How far `trips_at_v` may be off, either way."""


@dataclass(frozen=True, kw_only=True, slots=True)
class PartChoice:
    """A resistor that can be bought, and the trip it gives."""

    added_ohm: float
    trip_v: float


@dataclass(frozen=True, kw_only=True, slots=True)
class PlaceOption:
    """What it takes at one place, or why it cannot be done there."""

    place: str
    ideal_ratio: float | None
    """Resistor over the part it goes across or in series with."""
    ideal_ohm: float | None
    chosen: PartChoice | None
    """The nearest that can be bought."""
    cuts_trace: bool
    """Whether the part has to be taken out of the circuit on one side."""
    why_not: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class TripLimits:
    """How far the new trip may be off."""

    worst_low_v: float
    worst_high_v: float
    """With every part at its limit."""
    low_95_v: float
    high_95_v: float
    """Where 95 % lie, each part anywhere between its limits."""
    rss_v: float | None = None
    """Root of the sum of the squares of what each part adds; None where it was not asked."""


@dataclass(frozen=True, kw_only=True, slots=True)
class DriftLimits:
    """What warmth does to the new trip."""

    change_k: float
    worst_v: float
    """With all parts going the worst way."""
    rss_v: float


@dataclass(frozen=True, kw_only=True, slots=True)
class DividerPlan:
    """Which resistor moves a trip point, where, and how well that is known."""

    task: DividerTask
    add: str
    """One of `RAISES`, or none."""
    reference_v: float
    ideal_ratio: float | None
    ideal_ohm: float | None
    chosen: PartChoice | None
    choices: tuple[PartChoice, ...]
    """Nearest to the wanted trip first."""
    not_below: PartChoice | None
    """The nearest that does not let go below the wanted trip."""
    trip_v: float
    """With the chosen part; with the ideal one where none can be chosen."""
    as_designed: TripLimits
    """For any controller built like this one: reference and parts within their tolerances."""
    as_tested: TripLimits
    """For this one, of which it is known where it lets go now."""
    drift: DriftLimits
    power_w: float | None
    """In the added resistor, at the new trip."""
    most_power_w: float | None
    """On the highest pack it may meet."""
    places: tuple[PlaceOption, ...]
    cautions: tuple[str, ...] = ()
