"""Where a motor stops and runs again on a supply turned down and up."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.physics.trip_point import Crossings, crossings, sweeps

RUNS, STOPS = True, False


def seen(*readings: tuple[float, bool], turn_v: float = 0.0) -> Crossings:
    return crossings([volts for volts, _ in readings], [runs for _, runs in readings], turn_v)


def enclosed(found: Crossings) -> tuple[list[tuple[float, float]], list[tuple[float, float]]]:
    return [(one.low_v, one.high_v) for one in found.trips], [(one.low_v, one.high_v) for one in found.restarts]


def test_down_and_up_once() -> None:
    found = seen((6.6, RUNS), (6.5, RUNS), (6.4, STOPS), (6.8, STOPS), (6.9, RUNS))
    assert enclosed(found) == ([(6.4, 6.5)], [(6.8, 6.9)])
    assert found.trips[0].reading == 2
    assert all(one.clean for one in (*found.trips, *found.restarts))
    assert (found.restless, found.stayed_off_v) == (0, None)


def test_a_supply_that_waits_for_the_controller() -> None:
    """It let go at 6.4 V only after a while: the threshold lies above that, for at 6.5 V it went on."""
    found = seen((6.5, RUNS), (6.4, RUNS), (6.4, STOPS), (6.9, STOPS), (7.0, STOPS), (7.0, RUNS))
    assert enclosed(found) == ([(6.4, 6.5)], [(6.9, 7.0)])


def test_one_that_stays_off() -> None:
    found = seen((6.5, RUNS), (6.4, STOPS), (6.6, STOPS), (7.2, STOPS))
    assert enclosed(found) == ([(6.4, 6.5)], [])
    assert found.stayed_off_v == 7.2


def test_one_that_never_lets_go_or_never_ran() -> None:
    for state in (RUNS, STOPS):
        found = seen((7.0, state), (5.0, state), (7.0, state))
        assert (found.trips, found.restarts, found.restless) == ((), (), 0)
    assert seen((5.0, STOPS), (6.0, RUNS)).restarts == ()  # started with the supply coming up: it had not let go


def test_chatter_widens_what_encloses_the_threshold() -> None:
    found = seen((6.6, RUNS), (6.5, STOPS), (6.45, RUNS), (6.4, STOPS), (6.3, STOPS))
    assert enclosed(found) == ([(6.4, 6.6)], [])
    assert not found.trips[0].clean
    assert found.restless == 1
    assert seen((6.4, RUNS), (6.4, STOPS), (6.4, RUNS)).restless == 1  # without the supply moving at all
    assert seen((6.5, RUNS), (6.4, STOPS), (6.3, RUNS)).restless == 1  # off and on again on the way down


def test_running_off_the_wrong_way_is_no_trip() -> None:
    """A motor that stops while the supply comes up did not stop for want of voltage."""
    found = seen((6.5, RUNS), (6.9, STOPS))
    assert (found.trips, found.restless) == ((), 1)


def test_noise_is_no_turn() -> None:
    readings = [
        (6.60, RUNS),
        (6.52, RUNS),
        (6.53, RUNS),
        (6.45, STOPS),
        (6.46, STOPS),
        (6.38, STOPS),
        (6.70, STOPS),
        (6.69, STOPS),
        (6.9, RUNS),
    ]
    found = seen(*readings, turn_v=0.02)
    assert enclosed(found) == ([(6.45, 6.53)], [(6.69, 6.9)])
    assert len(sweeps([volts for volts, _ in readings], 0.02)) == 2
    assert len(sweeps([volts for volts, _ in readings])) > 2


def test_sweeps_cover_every_reading() -> None:
    found = sweeps([7.0, 6.5, 6.5, 6.0, 6.0, 6.5, 7.0, 6.9])
    assert [(one.first, one.last, one.rising) for one in found] == [(0, 4, False), (4, 6, True), (6, 7, False)]
    assert sweeps([6.0, 6.0]) == ()
    assert sweeps([6.0]) == ()


@given(
    trip_mv=st.integers(3000, 9000),
    gap_mv=st.integers(60, 800),
    step_mv=st.sampled_from([10, 20, 50, 100]),
    repeats=st.integers(1, 6),
)
def test_a_threshold_put_in_is_enclosed_each_time(trip_mv: int, gap_mv: int, step_mv: int, repeats: int) -> None:
    """Round trip."""
    high, low, volts, state = trip_mv + gap_mv + 300, trip_mv - 300, [], []
    running = True
    for supply in [*range(high, low, -step_mv), *range(low, high, step_mv)] * repeats:
        running = supply >= trip_mv if running else supply >= trip_mv + gap_mv
        volts.append(supply / 1000)
        state.append(running)
    found = crossings(volts, state)
    assert len(found.trips) == repeats
    assert found.restless == 0
    for one in found.trips:
        assert one.low_v < trip_mv / 1000 <= one.high_v
        assert one.high_v - one.low_v == pytest.approx(step_mv / 1000)
    for one in found.restarts:
        assert one.low_v < (trip_mv + gap_mv) / 1000 <= one.high_v


@given(st.lists(st.tuples(st.floats(0, 20), st.booleans()), min_size=1, max_size=40), st.floats(0, 0.5))
def test_any_readings(readings: list[tuple[float, bool]], turn_v: float) -> None:
    """Limits: whatever is read, a trip has a motor running above and stopped below, and both were read."""
    found = seen(*readings, turn_v=turn_v)
    volts = np.array([value for value, _ in readings])
    assert len(found.restarts) <= len(found.trips)
    for one in (*found.trips, *found.restarts):
        assert one.low_v <= one.high_v
        assert one.low_v in volts
        assert one.high_v in volts
