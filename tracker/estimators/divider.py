"""From a divider as far as it is known and a wanted trip to the resistor that moves it, and how well that is known."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from tracker.domain.divider import PLACE_WORDS, RAISES, SERIES, DividerPlan, DividerTask, DriftLimits, PartChoice, PlaceOption, TripLimits
from tracker.errors import InputError
from tracker.physics.divider import added_power, added_resistance, altered, reference_voltage, sensitivities, trip_voltage, trip_with
from tracker.physics.preferred_values import LARGEST_OHM, SMALLEST_OHM, nearest_preferred
from tracker.physics.tolerance import drawn_interval, root_sum_square, worst_case

FloatArray = NDArray[np.float64]

NOTHING_TO_MOVE = 0.001
"""A trip wanted within this share of the present one is there already: no hand-held meter tells them apart (0.5 %, from memory)."""

PART_DRIFT_PER_K = 100e-6
REFERENCE_DRIFT_PER_K = 100e-6
"""Thick-film chip resistors of 1 %, and plain references. From memory (IEC 60115-8 for the resistors)."""
WARMER_K = 40.0
"""From the bench to a warm model. From memory."""

HIGHEST_OVER_TRIP = 1.5
"""A full pack over its trip: 4.35 V a cell against 3.0 V."""

CHOICES_EACH_SIDE = 3
_SEED = 60063


def plan_divider(task: DividerTask) -> DividerPlan:
    """Find the resistor that moves a trip point to where it is wanted.

    Parameters
    ----------
    task : DividerTask
        The divider as far as it is known, and the wanted trip

    Returns
    -------
    DividerPlan
        Without cautions

    Raises
    ------
    InputError
        When no resistor does it, or none at the place asked for; it says which place would work
    """
    _check(task)
    reference_v = float(reference_voltage(task.trips_at_v, task.ratio, 1.0))
    if task.wanted_v <= reference_v:
        raise InputError(
            f"a trip of {task.wanted_v:g} V cannot be reached: the controller compares with {reference_v:.4g} V, and no divider lets it go at "
            f"or below that. Allowed is a wanted trip above {reference_v:.4g} V."
        )
    places = tuple(_option(task, reference_v, place) for place in RAISES)
    add = _chosen_place(task, places)
    option = next((each for each in places if each.place == add), None)
    if option is None or option.ideal_ratio is None:
        return _unchanged(task, reference_v, places)
    return _with_part(task, reference_v, places, option)


def _check(task: DividerTask) -> None:
    """Refuse what cannot be asked, however it was typed."""
    for what, allowed, given in (("series", SERIES, task.series), ("place", (None, *RAISES), task.place)):
        if given not in allowed:
            raise InputError(f"{what} '{given}' is not known; allowed are {', '.join(str(each) for each in allowed if each)}.")
    amounts = {"ratio": task.ratio, "trips-at": task.trips_at_v, "wanted": task.wanted_v, "bottom": task.bottom_ohm}
    for what, amount in amounts.items():
        if amount is not None and not 0 < amount < float("inf"):
            raise InputError(f"{what} is {amount:g}; allowed are numbers above 0.")
    if not (0 <= task.part_tolerance < 1 and 0 <= task.reference_tolerance < 1):
        raise InputError("tolerances are shares of the value; allowed is from 0 to less than the whole value.")
    if not 0 <= task.bench_within_v < task.trips_at_v:
        raise InputError(
            f"the bench reading is within {task.bench_within_v:g} V; allowed is from 0 to less than the trip, {task.trips_at_v:g} V."
        )


def _with_part(task: DividerTask, reference_v: float, places: tuple[PlaceOption, ...], option: PlaceOption) -> DividerPlan:
    choices = _choices(task, reference_v, option.place, option.ideal_ohm)
    top, bottom, added = _parts(task, option)
    chosen = choices[0] if choices else None
    trip_v = chosen.trip_v if chosen else task.wanted_v
    return DividerPlan(
        task=task,
        add=option.place,
        reference_v=reference_v,
        ideal_ratio=option.ideal_ratio,
        ideal_ohm=option.ideal_ohm,
        chosen=chosen,
        choices=choices,
        not_below=_not_below(choices, task.wanted_v),
        trip_v=trip_v,
        as_designed=_as_designed(task, option.place, (reference_v, top, bottom, added)),
        as_tested=_as_tested(task, option.place, (top, bottom, added)),
        drift=_drift(sensitivities(option.place, top, bottom, added), trip_v),
        power_w=None if chosen is None else float(added_power(option.place, trip_v, top, bottom, added)),
        most_power_w=None if chosen is None else float(added_power(option.place, HIGHEST_OVER_TRIP * trip_v, top, bottom, added)),
        places=places,
    )


def _unchanged(task: DividerTask, reference_v: float, places: tuple[PlaceOption, ...]) -> DividerPlan:
    """The trip is where it is wanted already."""
    top, bottom = task.ratio, 1.0
    tolerances = np.array([task.reference_tolerance, task.part_tolerance, task.part_tolerance])
    values = (reference_v, top, bottom)
    half = [value * tolerance for value, tolerance in zip(values, tolerances, strict=True)]
    share = top / (top + bottom)
    sensitive = np.array([1.0, share, -share])
    within = task.bench_within_v
    low, high = drawn_interval(lambda volts: volts, [task.trips_at_v], [within], _rng())
    return DividerPlan(
        task=task,
        add="none",
        reference_v=reference_v,
        ideal_ratio=None,
        ideal_ohm=None,
        chosen=None,
        choices=(),
        not_below=None,
        trip_v=task.trips_at_v,
        as_designed=_limits(trip_voltage, values, half, root_sum_square(sensitive, tolerances) * task.trips_at_v),
        as_tested=TripLimits(worst_low_v=task.trips_at_v - within, worst_high_v=task.trips_at_v + within, low_95_v=low, high_95_v=high),
        drift=_drift(np.append(sensitive, 0.0), task.trips_at_v),
        power_w=None,
        most_power_w=None,
        places=places,
    )


def _option(task: DividerTask, reference_v: float, place: str) -> PlaceOption:
    across = place.startswith("across")
    at_bottom = place.endswith("bottom")
    if _is_there(task):
        return PlaceOption(
            place=place, ideal_ratio=None, ideal_ohm=None, chosen=None, cuts_trace=not across, why_not="the trip is there already"
        )
    in_bottoms = float(added_resistance(place, reference_v, task.ratio, 1.0, task.wanted_v))
    if not np.isfinite(in_bottoms):
        direction = "raises" if RAISES[place] else "lowers"
        why_not = f"a resistor there {direction} the trip; this would need a negative one"
        return PlaceOption(place=place, ideal_ratio=None, ideal_ohm=None, chosen=None, cuts_trace=not across, why_not=why_not)
    ratio = in_bottoms if at_bottom else in_bottoms / task.ratio
    ideal_ohm = None if task.bottom_ohm is None else in_bottoms * task.bottom_ohm
    if ideal_ohm is not None and not SMALLEST_OHM <= ideal_ohm <= LARGEST_OHM:
        why_not = f"it would take {ideal_ohm:.3g} Ω, and parts are sold from {SMALLEST_OHM:g} Ω to {LARGEST_OHM / 1e6:g} MΩ"
        return PlaceOption(place=place, ideal_ratio=ratio, ideal_ohm=ideal_ohm, chosen=None, cuts_trace=not across, why_not=why_not)
    choices = _choices(task, reference_v, place, ideal_ohm)
    return PlaceOption(place=place, ideal_ratio=ratio, ideal_ohm=ideal_ohm, chosen=choices[0] if choices else None, cuts_trace=not across)


def _is_there(task: DividerTask) -> bool:
    return abs(task.wanted_v - task.trips_at_v) <= NOTHING_TO_MOVE * task.trips_at_v


def _chosen_place(task: DividerTask, places: Sequence[PlaceOption]) -> str:
    """Return where to add the resistor: where it was asked for, or else across a part, where no trace has to be cut."""
    if _is_there(task):
        return "none"
    working = [each for each in places if not each.why_not]
    if task.place is None:
        if working:
            return working[0].place  # the places across a part stand before those in series
        said = "; ".join(f"{PLACE_WORDS[each.place]}, {each.why_not}" for each in places if RAISES[each.place] == _raises(task))
        raise InputError(f"no resistor moves the trip from {task.trips_at_v:g} V to {task.wanted_v:g} V: {said}.")
    asked = next(each for each in places if each.place == task.place)
    if asked.why_not:
        others = " or ".join(f"{each.place} ({PLACE_WORDS[each.place]})" for each in working) or "no other place either"
        raise InputError(
            f"place {asked.place} cannot move the trip from {task.trips_at_v:g} V to {task.wanted_v:g} V: {asked.why_not}. What works: {others}."
        )
    return asked.place


def _raises(task: DividerTask) -> bool:
    return task.wanted_v > task.trips_at_v


def _parts(task: DividerTask, option: PlaceOption) -> tuple[float, float, float]:
    """Return top, bottom and added part; in units of the bottom one where only the ratio is known."""
    bottom = task.bottom_ohm or 1.0
    top = task.ratio * bottom
    if option.chosen is not None:
        return top, bottom, option.chosen.added_ohm
    part = bottom if option.place.endswith("bottom") else top
    return top, bottom, (option.ideal_ratio or 0.0) * part


def _choices(task: DividerTask, reference_v: float, place: str, ideal_ohm: float | None) -> tuple[PartChoice, ...]:
    if ideal_ohm is None or task.bottom_ohm is None:
        return ()
    ohms = nearest_preferred(ideal_ohm, task.series, CHOICES_EACH_SIDE)
    trips = trip_with(place, reference_v, task.ratio * task.bottom_ohm, task.bottom_ohm, ohms)
    found = [PartChoice(added_ohm=float(ohm), trip_v=float(trip)) for ohm, trip in zip(ohms, trips, strict=True)]
    return tuple(sorted(found, key=lambda choice: abs(choice.trip_v - task.wanted_v)))


def _not_below(choices: Sequence[PartChoice], wanted_v: float) -> PartChoice | None:
    above = [choice for choice in choices if choice.trip_v >= wanted_v * (1.0 - 1e-9)]
    return above[0] if above else None


def _as_designed(task: DividerTask, place: str, values: tuple[float, ...]) -> TripLimits:
    tolerances = [task.reference_tolerance, *[task.part_tolerance] * 3]
    half = [value * tolerance for value, tolerance in zip(values, tolerances, strict=True)]

    def trip(reference: FloatArray, top: FloatArray, bottom: FloatArray, added: FloatArray) -> FloatArray:
        return trip_with(place, reference, top, bottom, added)

    share = root_sum_square(sensitivities(place, *values[1:]), tolerances)
    return _limits(trip, values, half, share * float(trip_with(place, *values)))


def _as_tested(task: DividerTask, place: str, parts: tuple[float, float, float]) -> TripLimits:
    """The reference need not be known where the present trip is: it follows from that and the parts, whatever these are."""
    half = [task.bench_within_v, *(part * task.part_tolerance for part in parts)]

    def trip(now: FloatArray, top: FloatArray, bottom: FloatArray, added: FloatArray) -> FloatArray:
        return trip_voltage(reference_voltage(now, top, bottom), *altered(place, top, bottom, added))

    return _limits(trip, (task.trips_at_v, *parts), half, None)


def _limits(formula: Callable[..., FloatArray], values: Sequence[float], half: Sequence[float], rss_v: float | None) -> TripLimits:
    worst = worst_case(formula, values, half)
    drawn = drawn_interval(formula, values, half, _rng())
    return TripLimits(worst_low_v=worst[0], worst_high_v=worst[1], low_95_v=drawn[0], high_95_v=drawn[1], rss_v=rss_v)


def _drift(sensitive: FloatArray, trip_v: float) -> DriftLimits:
    per_k = np.array([REFERENCE_DRIFT_PER_K, *[PART_DRIFT_PER_K] * 3])
    worst = float(np.abs(sensitive) @ per_k) * WARMER_K * trip_v
    return DriftLimits(change_k=WARMER_K, worst_v=worst, rss_v=root_sum_square(sensitive, per_k) * WARMER_K * trip_v)


def _rng() -> np.random.Generator:
    """The same draws each time, so that the same question has the same answer."""
    return np.random.default_rng(_SEED)
