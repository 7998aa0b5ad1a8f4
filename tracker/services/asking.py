"""What a person asks for, as typed: texts by field become a task, or a list of what is wrong with which field."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from tracker.domain.divider import RAISES, SERIES, DividerTask
from tracker.domain.planning import CutoffTask
from tracker.errors import FieldErrors, InputError
from tracker.intake.numbers import Limits
from tracker.intake.quantity import quantity, resistance
from tracker.intake.text import shown
from tracker.services.benching import HIGHEST_V
from tracker.services.planning import COLDEST_K, HOTTEST_K, LEAST_RISK, MOST_A, MOST_RISK
from tracker.units import celsius_from_kelvin, kelvin_from_celsius

USUAL_RISK, USUAL_C = 0.01, 25.0
_SUPPLY = Limits(0.0, HIGHEST_V, "V", low_excluded=True)
_CURRENT = Limits(0.0, MOST_A, "A", low_excluded=True)
_RISK = Limits(LEAST_RISK, MOST_RISK, "")
_CELSIUS = Limits(round(celsius_from_kelvin(COLDEST_K), 2), round(celsius_from_kelvin(HOTTEST_K), 2), "°C")
_VOLTS = Limits(0.0, 1000.0, "V", low_excluded=True)
_RATIO = Limits(0.001, 1000.0, "")
_TOLERANCE = Limits(0.0, 50.0, "%")
_WITHIN = Limits(0.0, 100.0, "V")


def cutoff_task(fields: Mapping[str, str]) -> CutoffTask:
    """Return a task from texts named pack, vehicle, risk, c, mean_a and burst_a; FieldErrors with all that is wrong."""
    read = _Reader(fields)
    risk, pack_c = read.number("risk", _RISK), read.number("c", _CELSIUS)
    mean_a, burst_a = read.number("mean_a", _CURRENT), read.number("burst_a", _CURRENT)
    if mean_a is not None and burst_a is not None and burst_a < mean_a:
        read.problems["burst_a"] = f"{burst_a:g} A is less than the mean of {mean_a:g} A; bursts are above the mean."
    read.finish()
    return CutoffTask(
        pack=fields.get("pack", ""),
        vehicle=fields.get("vehicle", ""),
        risk=USUAL_RISK if risk is None else risk,
        pack_k=kelvin_from_celsius(USUAL_C if pack_c is None else pack_c),
        mean_a=mean_a,
        burst_a=burst_a,
    )


def divider_task(fields: Mapping[str, str]) -> DividerTask:
    """Return a task from texts named top, bottom, ratio, trips, wanted, series, place, tolerance, reference and within."""
    read = _Reader(fields)
    top, bottom, ratio = read.resistance("top"), read.resistance("bottom"), read.number("ratio", _RATIO)
    trips, wanted = read.number("trips", _VOLTS), read.number("wanted", _VOLTS)
    tolerance, reference = read.number("tolerance", _TOLERANCE), read.number("reference", _TOLERANCE)
    within = read.number("within", _WITHIN)
    series, place = fields.get("series") or "E24", fields.get("place") or None
    if series not in SERIES:
        read.problems["series"] = f"{shown(series)} is not a series of preferred values; allowed are {', '.join(SERIES)}."
    if place is not None and place not in RAISES:
        read.problems["place"] = f"{shown(place)} is no place; allowed are {', '.join(RAISES)}."
    for name, value in (("trips", trips), ("wanted", wanted)):
        if value is None:
            read.problems.setdefault(name, "nothing is given; needed is a voltage, such as 5.05 V.")
    if not ({"top", "bottom", "ratio"} & set(read.problems)):
        _tell_divider(read.problems, top, bottom, ratio)
    read.finish()
    if ratio is None:
        ratio = (top or 0.0) / (bottom or 1.0)
    elif bottom is None and top is not None:
        bottom = top / ratio
    return DividerTask(
        ratio=ratio,
        bottom_ohm=bottom,
        trips_at_v=trips or 0.0,
        wanted_v=wanted or 0.0,
        series=series,
        place=place,
        part_tolerance=0.01 * (1.0 if tolerance is None else tolerance),
        reference_tolerance=0.01 * (1.0 if reference is None else reference),
        bench_within_v=0.05 if within is None else within,
    )


def supply_voltage(text: str) -> float:
    """Return the voltage of a bench supply; InputError where it is none or not possible."""
    if not text.strip():
        raise InputError("Nothing is given; needed is the voltage of the supply, such as 7.4 V.")
    return quantity(text, _SUPPLY)


def _tell_divider(problems: dict[str, str], top: float | None, bottom: float | None, ratio: float | None) -> None:
    """Note what is missing or too much of a divider: both parts, or the ratio with at most one of them."""
    if ratio is None and top is None and bottom is None:
        problems["top"] = "nothing is given; needed are top and bottom resistor, or their ratio with at most one of them."
    elif ratio is None and (top is None or bottom is None):
        problems["bottom" if bottom is None else "top"] = "nothing is given; needed is this resistor too, or the ratio of top over bottom."
    elif ratio is not None and top is not None and bottom is not None:
        problems["ratio"] = "given as well as both resistors; allowed is the ratio with at most one of them. Leave it empty."


class _Reader:
    """Reads fields one by one and keeps what is wrong."""

    def __init__(self, fields: Mapping[str, str]) -> None:
        self._fields = fields
        self.problems: dict[str, str] = {}

    def number(self, name: str, limits: Limits) -> float | None:
        """A number, or None where the field is empty or wrong."""
        return self._read(name, lambda text: quantity(text, limits))

    def resistance(self, name: str) -> float | None:
        """Ohms, or None where the field is empty or wrong."""
        return self._read(name, resistance)

    def finish(self) -> None:
        """Raise FieldErrors where anything was wrong."""
        if self.problems:
            raise FieldErrors(self.problems)

    def _read(self, name: str, parse: Callable[[str], float]) -> float | None:
        text = self._fields.get(name, "").strip()
        if not text:
            return None
        try:
            return parse(text)
        except InputError as problem:
            self.problems[name] = str(problem)
            return None
