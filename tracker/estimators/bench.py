"""From bench tests of one controller to where it lets go and takes hold again, with the uncertainty of both."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from tracker.domain.bench import BenchCrossing, BenchRamp, BenchResult, EarlierTrip, Meter, UncertaintyPart
from tracker.domain.results import Estimate, NotEnough, Quantity
from tracker.domain.session import BenchTest
from tracker.physics.threshold import (
    Threshold,
    coverage_factor,
    delay_shift,
    drift,
    effective_freedom,
    meter_uncertainty,
    ramp_rate,
    threshold,
)
from tracker.physics.trip_point import Crossing, Crossings, crossings
from tracker.physics.uncertainty import combine, from_limits

HAND_HELD = Meter(gain=0.005, digit_v=0.01)
"""A hand-held meter of three and a half digits on its 20 V range, ±(0.5 % + 1 digit). From memory."""

RAMP_DELAY_S = 0.5
"""The longest a controller is taken to need to act on a recorded ramp. From memory; better measured."""

ONE_SESSION = timedelta(days=1)
"""Tests no further apart are repeats of each other; what lies before them shows how the controller was."""

ALTERED_SHARE = 0.05
"""A trip that moves by more than this from one test to the next was moved by somebody: no repeat. The tool's own definition."""

_RATE_READINGS = 10
_FINEST_V = 1e-4


@dataclass(frozen=True, slots=True)
class _Series:
    """Readings taken one after the other, and what was crossed in them."""

    supply_v: tuple[float, ...]
    running: tuple[bool, ...]
    at: datetime | None
    seen: Crossings
    shift: Callable[[Crossing], tuple[float, float]]
    """What to add to a crossing for the time the controller takes, and its standard uncertainty."""


@dataclass(frozen=True, slots=True)
class _Mean:
    """A threshold with all that makes it uncertain."""

    of: Threshold
    value_v: float
    delay_sd_v: float
    count: int

    @property
    def free_of_meter(self) -> list[float]:
        return [self.of.step_sd_v, self.of.repeat_sd_v, self.delay_sd_v]

    @property
    def freedom(self) -> list[float]:
        return [float("inf"), self.of.freedom, float("inf")]


def judge_bench(tests: Sequence[BenchTest], meter: Meter = HAND_HELD) -> BenchResult:
    """Where one controller lets go and takes hold again, from its tests.

    Parameters
    ----------
    tests : sequence of BenchTest
        All of the same controller, at least one; those of the last day are taken together, as repeats, unless the trip was moved between them
    meter : Meter
        How far the reading of the supply may be off

    Returns
    -------
    BenchResult
        Without findings
    """
    in_order = sorted(tests, key=lambda test: test.tested_at)
    sessions = _sessions([_one_series(test) for test in in_order])
    earlier = [EarlierTrip(tested_at=at, trip_v=_result(each, meter).trip_v) for each in sessions[:-1] if (at := each[-1].at) is not None]
    return _result(sessions[-1], meter, in_order[-1].controller, tuple(earlier))


def judge_ramp(ramp: BenchRamp, meter: Meter = HAND_HELD, delay_s: float = RAMP_DELAY_S, turn_v: float = 0.05) -> BenchResult:
    """Where one controller lets go and takes hold again, from a recording of a slowly moving supply.

    Parameters
    ----------
    ramp : BenchRamp
        Readings with their times
    meter : Meter
        How far the reading of the supply may be off
    delay_s : float
        The longest the controller may take to act [s]
    turn_v : float
        The supply going back by no more than this is noise [V]

    Returns
    -------
    BenchResult
        Without findings
    """

    def shift(crossing: Crossing) -> tuple[float, float]:
        near = slice(max(crossing.reading - _RATE_READINGS, 0), crossing.reading + 1)
        return delay_shift(ramp_rate(ramp.time_s[near], ramp.supply_v[near]), delay_s)

    seen = crossings(ramp.supply_v, ramp.running, turn_v)
    return _result([_Series(ramp.supply_v, ramp.running, None, seen, shift)], meter, ramp.controller)


def _one_series(test: BenchTest) -> _Series:
    volts = tuple(reading.supply_v for reading in test.readings)
    runs = tuple(reading.running for reading in test.readings)
    return _Series(volts, runs, test.tested_at, crossings(volts, runs), lambda _: (0.0, 0.0))


def _sessions(series: Sequence[_Series]) -> list[list[_Series]]:
    """Tests that are repeats of each other, together: they follow within a day, and nobody moved the trip between."""
    found: list[list[_Series]] = []
    for one in series:
        if found and _repeats(found[-1], one):
            found[-1].append(one)
        else:
            found.append([one])
    return found


def _repeats(before: Sequence[_Series], one: _Series) -> bool:
    last = before[-1].at
    if last is None or one.at is None or one.at - last > ONE_SESSION:
        return False
    known, new = (_middles(each) for each in (before, [one]))
    return not known or not new or abs(np.mean(new) - np.mean(known)) <= ALTERED_SHARE * np.mean(known)


def _middles(series: Sequence[_Series]) -> list[float]:
    return [(each.low_v + each.high_v) / 2.0 for one in series for each in one.seen.trips]


def _result(series: Sequence[_Series], meter: Meter, controller: str = "", earlier: tuple[EarlierTrip, ...] = ()) -> BenchResult:
    finest = _finest_v(series)
    trip = _mean(series, lambda seen: seen.trips, finest)
    restart = _mean(series, lambda seen: seen.restarts, finest)
    latches = _latches(series)
    widths = [max(each.high_v - each.low_v, finest) for one in series for each in one.seen.trips]
    return BenchResult(
        controller=controller,
        tested_at=series[-1].at,
        trip_v=NotEnough(_why_no_trip(series)) if trip is None else _estimate(trip, meter),
        restart_v=NotEnough(_why_no_restart(series, latches)) if restart is None else _estimate(restart, meter),
        hysteresis_v=_hysteresis(trip, restart, meter),
        spread_v=None if trip is None else trip.of.spread_v,
        drift_v=_drift(series, widths),
        trips=0 if trip is None else trip.count,
        restarts=0 if restart is None else restart.count,
        restless=sum(one.seen.restless for one in series),
        latches=latches,
        lowest_v=min(min(one.supply_v) for one in series),
        highest_v=max(max(one.supply_v) for one in series),
        stayed_off_v=max((one.seen.stayed_off_v for one in series if one.seen.stayed_off_v is not None), default=None),
        step_v=float(np.mean(widths)) if widths else None,
        budget=() if trip is None else _budget(trip, meter),
        crossings=tuple(_in_order(series)),
        earlier=earlier,
    )


def _finest_v(series: Sequence[_Series]) -> float:
    """The smallest difference between two readings: closer voltages were not told apart."""
    apart = [abs(later - before) for one in series for before, later in zip(one.supply_v, one.supply_v[1:], strict=False)]
    return max(min((gap for gap in apart if gap > 0), default=_FINEST_V), _FINEST_V)


def _mean(series: Sequence[_Series], which: Callable[[Crossings], tuple[Crossing, ...]], finest_v: float) -> _Mean | None:
    found = [(crossing, one.shift(crossing)) for one in series for crossing in which(one.seen)]
    if not found:
        return None
    of = threshold(
        [crossing.low_v + shift for crossing, (shift, _) in found], [crossing.high_v + shift for crossing, (shift, _) in found], finest_v
    )
    # The delay is the same each time, so repeats do not average it out.
    return _Mean(of, of.value_v, float(np.mean([sd for _, (_, sd) in found])), len(found))


def _estimate(mean: _Mean, meter: Meter) -> Estimate:
    parts = [*mean.free_of_meter, float(meter_uncertainty(mean.value_v, meter.gain, meter.digit_v))]
    return _with_interval(mean.value_v, parts, [*mean.freedom, float("inf")])


def _with_interval(value: float, parts: Sequence[float], freedom: Sequence[float]) -> Estimate:
    sd = float(combine(*parts))
    half = coverage_factor(effective_freedom(parts, freedom)) * sd
    return Estimate(value=value, low=value - half, high=value + half, sd=sd)


def _budget(mean: _Mean, meter: Meter) -> tuple[UncertaintyPart, ...]:
    parts = {
        "step": mean.of.step_sd_v,
        "repeats": mean.of.repeat_sd_v,
        "meter": float(meter_uncertainty(mean.value_v, meter.gain, meter.digit_v)),
        "delay": mean.delay_sd_v,
    }
    return tuple(UncertaintyPart(cause=cause, sd_v=sd) for cause, sd in parts.items())


def _hysteresis(trip: _Mean | None, restart: _Mean | None, meter: Meter) -> Quantity:
    if trip is None or restart is None:
        return NotEnough("It was not seen both to let go and to take hold again.")
    apart = restart.value_v - trip.value_v
    # One meter read both: what it is off by as a whole falls out of the difference, its gain does not.
    gain = float(from_limits(meter.gain * abs(apart)))
    digits = float(combine(from_limits(meter.digit_v / 2.0), from_limits(meter.digit_v / 2.0)))
    return _with_interval(
        apart, [*trip.free_of_meter, *restart.free_of_meter, gain, digits], [*trip.freedom, *restart.freedom, float("inf"), float("inf")]
    )


def _drift(series: Sequence[_Series], widths: Sequence[float]) -> Quantity:
    found = drift(_middles(series), widths)
    if found is None:
        return NotEnough("It takes three trips to see whether they wander.")
    half = coverage_factor(found.freedom) * found.sd_v
    return Estimate(value=found.change_v, low=found.change_v - half, high=found.change_v + half, sd=found.sd_v)


def _latches(series: Sequence[_Series]) -> bool | None:
    """Whether it stayed off although the supply came back to where it had run before; None where it did not come back."""
    if any(one.seen.restarts for one in series):
        return False
    for one in series:
        ran_at = max((volts for volts, runs in zip(one.supply_v, one.running, strict=True) if runs), default=None)
        if one.seen.stayed_off_v is not None and ran_at is not None and one.seen.stayed_off_v >= ran_at:
            return True
    return None


def _why_no_trip(series: Sequence[_Series]) -> str:
    states = {state for one in series for state in one.running}
    lowest = min(min(one.supply_v) for one in series)
    highest = max(max(one.supply_v) for one in series)
    if states == {True}:
        return f"It never let go: the motor ran at every reading, down to {lowest:.2f} V."
    if states == {False}:
        return f"The motor stood still at every reading, up to {highest:.2f} V."
    return "It was never seen to let go: no reading with the motor running is followed by one at a lower supply with the motor stopped."


def _why_no_restart(series: Sequence[_Series], latches: bool | None) -> str:
    if not any(one.seen.trips for one in series):
        return "It was not seen to let go, so it could not take hold again."
    off = max((one.seen.stayed_off_v for one in series if one.seen.stayed_off_v is not None), default=None)
    if off is None:
        return "The supply was not turned up again after it let go."
    if latches:
        return f"It stayed off up to {off:.2f} V, as high as it had run before."
    return f"It stayed off up to {off:.2f} V, the highest the supply was turned up to again."


def _in_order(series: Sequence[_Series]) -> list[BenchCrossing]:
    found = []
    for one in series:
        both = [(each.reading, True, each) for each in one.seen.trips] + [(each.reading, False, each) for each in one.seen.restarts]
        for _, trip, each in sorted(both, key=lambda entry: entry[0]):
            found.append(BenchCrossing(trip=trip, low_v=each.low_v, high_v=each.high_v, at=one.at))
    return found
