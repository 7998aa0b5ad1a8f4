"""Thresholds of controllers from bench tests: simulated ones of which they are known, and what habit says of real ones."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from sample_data import club
from sample_data.bench import TESTS
from sample_data.club import CONTROLLERS, ClubController
from tracker.domain.bench import BenchRamp, BenchResult, Meter
from tracker.domain.results import Estimate, NotEnough, Quantity
from tracker.domain.session import BenchReading, BenchTest
from tracker.estimators.bench import HAND_HELD, judge_bench, judge_ramp
from tracker.intake.logbook import read_files

EVENING = datetime(2025, 11, 29, 19, 30, tzinfo=UTC)
PERFECT = Meter(gain=0.0, digit_v=0.0)


def readings(
    trip_v: float, restart_v: float | None, step_v: float = 0.05, repeats: int = 1, top_v: float = 0.4
) -> list[tuple[float, bool]]:
    """Down until the motor stops, up until it runs again, so many times."""
    supply, found = round(trip_v + top_v, 2), []
    for _ in range(repeats):
        while supply >= trip_v:
            found.append((supply, True))
            supply = round(supply - step_v, 4)
        found.append((supply, False))
        end = trip_v + top_v if restart_v is None else restart_v
        while (supply := round(supply + step_v, 4)) < end:
            found.append((supply, False))
        found.append((supply, restart_v is not None))
    return found


def made(rows: list[tuple[float, bool]], at: datetime = EVENING, controller: str = "left") -> BenchTest:
    return BenchTest(
        controller=controller, tested_at=at, readings=tuple(BenchReading(supply_v=volts, running=runs) for volts, runs in rows)
    )


def known(quantity: Quantity) -> Estimate:
    assert isinstance(quantity, Estimate), quantity
    return quantity


def test_common_practice_on_two_cells() -> None:
    """Common practice, no source: a controller for nickel lets go just over 5.0 V, one altered for lithium at 6.4 to 6.5 V; both run again."""
    nickel = judge_bench([made(readings(5.06, 5.62, repeats=5))])
    altered = judge_bench([made(readings(6.43, 6.92, repeats=5))])
    assert 5.0 < known(nickel.trip_v).value < 5.1
    assert 6.4 < known(altered.trip_v).value < 6.5
    for result in (nickel, altered):
        assert result.latches is False
        assert (result.trips, result.restarts, result.restless) == (5, 5, 0)
        assert 0.4 < known(result.hysteresis_v).value < 0.7


def test_what_makes_it_uncertain_is_added_up() -> None:
    """Limits: the steps of 50 mV, no scatter, and a hand-held meter's ±(0.5 % + 10 mV)."""
    result = judge_bench([made(readings(6.43, 6.92, repeats=5))])
    parts = {part.cause: part.sd_v for part in result.budget}
    assert parts["step"] == pytest.approx(0.05 / np.sqrt(12))
    assert parts["meter"] == pytest.approx((0.005 * known(result.trip_v).value + 0.01) / np.sqrt(3))
    assert (parts["repeats"], parts["delay"]) == pytest.approx((0.0, 0.0), abs=1e-9)
    trip = known(result.trip_v)
    assert trip.sd == pytest.approx(np.hypot(parts["step"], parts["meter"]))
    assert trip.high - trip.value == pytest.approx(1.645 * trip.sd, rel=1e-3)
    assert known(judge_bench([made(readings(6.43, 6.92))], PERFECT).trip_v).sd == pytest.approx(parts["step"])


def test_finer_steps_are_surer() -> None:
    widths = [known(judge_bench([made(readings(6.43, 6.92, step))], PERFECT).trip_v).sd for step in (0.2, 0.1, 0.05, 0.01)]
    assert widths == sorted(widths, reverse=True)


def test_the_meter_falls_out_of_the_difference() -> None:
    """Limits: read with one meter, what it is off by as a whole does not touch how far restart and trip lie apart."""
    sure, unsure = (judge_bench([made(readings(6.43, 6.92, 0.01))], meter) for meter in (PERFECT, HAND_HELD))
    assert known(unsure.trip_v).sd > 4 * known(sure.trip_v).sd
    assert known(unsure.hysteresis_v).sd < 2 * known(sure.hysteresis_v).sd


def test_one_that_stays_off_until_it_is_unplugged() -> None:
    tests = [made(readings(5.94, None), EVENING + timedelta(minutes=4 * index)) for index in range(5)]
    result = judge_bench(tests)
    assert result.latches is True
    assert result.trips == 5
    assert isinstance(result.restart_v, NotEnough)
    assert "stayed off up to 6.3" in result.restart_v.why
    low = judge_bench([made([(6.5, True), (6.4, False), (6.45, False)])])
    assert low.latches is None
    assert isinstance(low.restart_v, NotEnough)
    assert "6.45 V, the highest" in low.restart_v.why
    not_tried = judge_bench([made([(6.5, True), (6.4, False)])]).restart_v
    assert isinstance(not_tried, NotEnough)
    assert "not turned up again" in not_tried.why


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        ([(7.0, True), (5.2, True)], "down to 5.20 V"),
        ([(7.0, False), (5.2, False)], "stood still at every reading, up to 7.00 V"),
        ([(5.0, False), (6.0, True)], "never seen to let go"),
    ],
)
def test_one_that_never_lets_go(rows: list[tuple[float, bool]], words: str) -> None:
    result = judge_bench([made(rows)])
    assert result.trips == 0
    for quantity in (result.trip_v, result.restart_v, result.hysteresis_v, result.drift_v):
        assert isinstance(quantity, NotEnough)
    assert isinstance(result.trip_v, NotEnough)
    assert words in result.trip_v.why


def test_only_the_last_tests_count_and_the_earlier_ones_are_kept_beside() -> None:
    year_ago = made(readings(5.06, 5.62, repeats=3), EVENING - timedelta(days=365))
    before, after = made(readings(6.23, 6.7, repeats=3)), made(readings(6.43, 6.92, repeats=3), EVENING + timedelta(days=20))
    result = judge_bench([after, year_ago, before])
    assert known(result.trip_v).value == pytest.approx(6.43, abs=0.03)
    assert result.tested_at == after.tested_at
    assert [known(each.trip_v).value for each in result.earlier] == pytest.approx([5.06, 6.23], abs=0.03)


def test_a_trip_moved_between_two_tests_of_one_evening_is_no_scatter() -> None:
    result = judge_bench([made(readings(5.06, 5.62, repeats=3)), made(readings(6.43, 6.92, repeats=3), EVENING + timedelta(hours=2))])
    assert result.trips == 3
    assert known(result.trip_v).value == pytest.approx(6.43, abs=0.03)
    assert [known(each.trip_v).value for each in result.earlier] == pytest.approx([5.06], abs=0.03)


def test_drift_between_repeats() -> None:
    rows = [row for repeat in range(6) for row in readings(6.50 - 0.04 * repeat, 7.0, 0.01)]
    change = known(judge_bench([made(rows)]).drift_v)
    assert change.value == pytest.approx(-0.20, abs=0.02)
    assert change.high < -0.15
    steady = known(judge_bench([made(readings(6.43, 6.92, repeats=5))]).drift_v)
    assert steady.low < 0 < steady.high


def simulated(rng: np.random.Generator) -> tuple[float, BenchResult]:
    """A controller with a scatter, tested with a meter that is off within its limits; and where it truly lets go on the mean."""
    trip, scatter, step = rng.uniform(4.5, 10.0), rng.uniform(0.0, 0.03), rng.choice([0.01, 0.02, 0.05, 0.1])
    gain, offset, start = rng.uniform(-0.005, 0.005), rng.uniform(-0.01, 0.01), rng.uniform(0, step)
    rows: list[tuple[float, bool]] = []
    for _ in range(int(rng.integers(3, 7))):
        this, supply = trip + rng.normal(0, scatter), trip + 0.5 + start
        while supply >= this:
            rows.append((supply, True))
            supply -= step
        rows += [(supply, False), (trip + 0.5 + start, True)]
    return trip, judge_bench([made([(volts * (1 + gain) + offset, runs) for volts, runs in rows])])


def test_the_intervals_hold_the_truth_as_often_as_they_say() -> None:
    """Round trip over 1,000 controllers: 90 % intervals, somewhat wide because steps and meter are taken at their worst."""
    rng = np.random.default_rng(20)
    cases = [simulated(rng) for _ in range(1000)]
    held = np.mean([known(result.trip_v).low <= trip <= known(result.trip_v).high for trip, result in cases])
    assert 0.90 <= held <= 0.99


def ramp(rate_v_s: float, delay_s: float, noise_v: float = 0.0, seed: int = 1) -> BenchRamp:
    """Turned down and up three times; the controller acts so long after its threshold, 6.43 or 6.92 V, was crossed."""
    rng = np.random.default_rng(seed)
    one_way = np.arange(7.2, 6.0, -abs(rate_v_s) * 0.05)
    true = np.concatenate([one_way, one_way[::-1]] * 3)
    time = 0.05 * np.arange(len(true))
    running, state, since = [], True, 0.0
    for supply in true:
        beyond = supply < 6.43 if state else supply >= 6.92
        since = since + 0.05 if beyond else 0.0
        if since > delay_s:
            state, since = not state, 0.0
        running.append(state)
    return BenchRamp(
        controller="left",
        time_s=tuple(time.tolist()),
        supply_v=tuple((true + rng.normal(0, noise_v, len(true))).tolist()),
        running=tuple(running),
    )


def test_a_recorded_ramp_is_read_back_to_the_threshold() -> None:
    """Round trip: at 0.05 V/s one that takes 0.25 s of at most 0.5 s acts 12 mV late, and the middle of what is allowed for takes that back."""
    result = judge_ramp(ramp(0.05, 0.25), PERFECT, delay_s=0.5)
    assert (result.trips, result.restarts, result.restless) == (3, 3, 0)
    assert known(result.trip_v).value == pytest.approx(6.43, abs=0.003)
    assert known(result.restart_v).value == pytest.approx(6.92, abs=0.003)
    assert {part.cause: part.sd_v for part in result.budget}["delay"] == pytest.approx(0.025 / np.sqrt(12), rel=0.02)


@pytest.mark.parametrize("delay_s", [0.1, 0.25, 0.4])
def test_a_faster_ramp_is_less_sure_and_still_holds_the_truth(delay_s: float) -> None:
    slow, fast = (judge_ramp(ramp(rate, delay_s), PERFECT, delay_s=0.5) for rate in (0.02, 0.2))
    assert known(fast.trip_v).sd > 3 * known(slow.trip_v).sd
    for result in (slow, fast):
        assert known(result.trip_v).low < 6.43 < known(result.trip_v).high
        assert known(result.restart_v).low < 6.92 < known(result.restart_v).high


def test_noise_on_a_ramp_does_not_turn_it() -> None:
    result = judge_ramp(ramp(0.05, 0.0, noise_v=0.006), PERFECT, delay_s=0.5)
    assert (result.trips, result.restarts) == (3, 3)
    assert known(result.trip_v).value == pytest.approx(6.43, abs=0.03)


@pytest.mark.parametrize(
    "controller", [each for each in CONTROLLERS if each.name in {name for name, _ in TESTS}], ids=lambda each: each.name
)
def test_the_invented_clubs_controllers_are_read_back(controller: ClubController) -> None:
    """Round trip: the sample season's thresholds are known, because they were made up."""
    tests = read_files([Path(club.__file__).with_name("bench.csv")]).logbook.bench_tests
    result = judge_bench([test for test in tests if test.controller == controller.name])
    truths = [(result.trip_v, controller.true_trip_v)]
    truths += [] if controller.true_restart_v is None else [(result.restart_v, controller.true_restart_v)]
    for found, truth in truths:
        assert truth is not None
        assert known(found).low < truth < known(found).high
        assert known(found).value == pytest.approx(truth, abs=0.03)
    assert result.latches is (controller.true_restart_v is None)
    assert result.trips == 5
