"""Capacity with errors in both variables."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from tracker.errors import InputError
from tracker.physics.capacity_fit import (
    CapacityFit,
    CapacitySums,
    proportional_total_least_squares,
    recursive_total_least_squares,
    total_least_squares,
    weighted_least_squares,
)

FloatArray = NDArray[np.float64]

X = (0.42, 0.35, 0.55, 0.30, 0.48)
Y = (2.050, 1.745, 2.640, 1.490, 2.330)
X_SD = (0.02, 0.02, 0.03, 0.02, 0.025)
Y_SD = (0.03, 0.03, 0.04, 0.03, 0.035)
RATIO = 2.0 / 3.0


def exact_cost(capacity: float, x: FloatArray, y: FloatArray, x_sd: FloatArray, y_sd: FloatArray) -> float:
    return float(np.sum((y - capacity * x) ** 2 / (capacity**2 * x_sd**2 + y_sd**2)))


def all_four(x: FloatArray, y: FloatArray, x_sd: FloatArray, y_sd: FloatArray) -> tuple[CapacityFit, ...]:
    return (
        weighted_least_squares(x, y, y_sd),
        proportional_total_least_squares(x, y, y_sd, float(x_sd[0] / y_sd[0])),
        total_least_squares(x, y, x_sd, y_sd),
        recursive_total_least_squares(x, y, x_sd, y_sd),
    )


def test_worked_example() -> None:
    """Worked by hand from the formulas of Plett, J. Power Sources 196 (2011) 2319, doi 10.1016/j.jpowsour.2010.09.048."""
    plain = weighted_least_squares(X, Y, Y_SD)
    assert plain.capacity_ah == pytest.approx(4.88403, abs=5e-6)
    assert plain.sd_ah == pytest.approx(0.03515, abs=5e-6)
    assert proportional_total_least_squares(X, Y, Y_SD, RATIO).capacity_ah == pytest.approx(4.88486, abs=5e-6)
    exact = total_least_squares(X, Y, X_SD, Y_SD)
    assert exact.capacity_ah == pytest.approx(4.88988, abs=5e-6)
    assert exact.sd_ah == pytest.approx(0.12455, abs=5e-6)
    carried = recursive_total_least_squares(X, Y, X_SD, Y_SD)
    assert carried.capacity_ah == pytest.approx(4.88980, abs=5e-6)
    assert carried.sd_ah == pytest.approx(0.12447, abs=5e-6)


def test_the_six_sums_of_the_worked_example() -> None:
    """Worked by hand from the same formulas."""
    kept = CapacitySums.started(RATIO)
    for pair in zip(X, Y, X_SD, Y_SD, strict=True):
        kept = kept.add(*pair)
    assert kept.sums == pytest.approx((1820.824, 5928.636, 19307.338, 1677.001, 5466.432, 17821.912), abs=5e-4)
    assert kept.fit() == recursive_total_least_squares(X, Y, X_SD, Y_SD)


@pytest.mark.parametrize("capacity_ah", [0.15, 5.0, 120.0])
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_pairs_without_error_give_the_capacity_itself(capacity_ah: float, sign: float) -> None:
    """Limit: all four are exact, whatever the uncertainties and the direction of the charge."""
    chance = np.random.default_rng(4)
    x = sign * chance.uniform(0.1, 0.9, 7)
    for found in all_four(x, capacity_ah * x, chance.uniform(0.01, 0.05, 7), capacity_ah * chance.uniform(0.002, 0.05, 7)):
        assert found.capacity_ah == pytest.approx(capacity_ah, rel=1e-12)
        assert 0 < found.sd_ah < 0.2 * capacity_ah


def test_errors_of_the_change_bias_the_plain_fit_and_not_the_others() -> None:
    """Published: the first simulated case of the paper's author tends to 100 Ah x 0.05333 / 0.05353 = 99.626 Ah."""
    chance = np.random.default_rng(5)
    count, noise = 100_000, np.sqrt(2.0) * 0.01
    true_x = chance.uniform(-0.4, 0.4, count)
    x = true_x + noise * chance.normal(size=count)
    y = 100.0 * true_x + 0.05 * chance.normal(size=count)
    x_sd, y_sd = np.full(count, noise), np.full(count, 0.05)
    assert weighted_least_squares(x, y, y_sd).capacity_ah == pytest.approx(99.626, abs=0.04)
    assert proportional_total_least_squares(x, y, y_sd, noise / 0.05).capacity_ah == pytest.approx(100.0, abs=0.04)
    assert total_least_squares(x, y, x_sd, y_sd).capacity_ah == pytest.approx(100.0, abs=0.04)


def share_held(proportion: FloatArray, repeats: int = 500) -> FloatArray:
    """How often the exact and the carried fit hold the truth in their 90 % interval."""
    chance = np.random.default_rng(6)
    true_x, y_sd = chance.uniform(0.3, 0.8, 12), chance.uniform(0.04, 0.08, 12)
    x_sd = proportion * y_sd
    held = []
    for _ in range(repeats):
        x = true_x + x_sd * chance.normal(size=12)
        y = 5.0 * true_x + y_sd * chance.normal(size=12)
        exact, carried = total_least_squares(x, y, x_sd, y_sd), recursive_total_least_squares(x, y, x_sd, y_sd)
        held.append([abs(found.capacity_ah - 5.0) < 1.645 * found.sd_ah for found in (exact, carried)])
    return np.asarray(np.mean(held, axis=0), dtype=np.float64)


def test_uncertainty_is_the_spread_of_many_repeats() -> None:
    """Round trip: the truth lies within 1.645 standard uncertainties in about 90 % of made-up histories."""
    assert share_held(np.tile([0.25, 0.3, 0.2], 4)) == pytest.approx([0.90, 0.90], abs=0.025)


def test_the_carried_fit_is_too_sure_where_the_proportion_of_errors_differs_much() -> None:
    """Limit of the method, and why the exact one is there: its cost weighs such pairs too heavily."""
    exact, carried = share_held(np.tile([0.25, 1.5, 0.05], 4), 300)
    assert exact == pytest.approx(0.90, abs=0.04)
    assert carried < 0.75


def test_the_exact_fit_has_the_least_cost_of_a_fine_search() -> None:
    """Independent: a brute search over a grid, on pairs noisy enough to have more than one hollow."""
    chance = np.random.default_rng(7)
    for _ in range(10):
        x, y = chance.uniform(0.05, 0.9, 4), chance.uniform(0.5, 5.0, 4)
        x_sd, y_sd = chance.uniform(0.005, 0.1, 4), chance.uniform(0.02, 0.3, 4)
        grid = np.geomspace(0.1, 200.0, 4_001)
        least = min(exact_cost(float(capacity), x, y, x_sd, y_sd) for capacity in grid)
        found = total_least_squares(x, y, x_sd, y_sd)
        cost = exact_cost(found.capacity_ah, x, y, x_sd, y_sd)
        assert cost <= least * (1 + 1e-9)
        step = 1e-3 * found.capacity_ah
        bend = sum(k * exact_cost(found.capacity_ah + d * step, x, y, x_sd, y_sd) for d, k in ((-1, 1), (0, -2), (1, 1))) / step**2
        assert found.sd_ah == pytest.approx(np.sqrt(2.0 / bend), rel=1e-3)


def test_proportional_errors_make_three_of_them_one() -> None:
    """Limit: where every pair has the same proportion of errors the closed form, the search and the quartic agree."""
    x, y, y_sd = np.array(X), np.array(Y), np.array(Y_SD)
    closed = proportional_total_least_squares(x, y, y_sd, RATIO)
    for found in (total_least_squares(x, y, RATIO * y_sd, y_sd), recursive_total_least_squares(x, y, RATIO * y_sd, y_sd)):
        assert found.capacity_ah == pytest.approx(closed.capacity_ah, rel=1e-10)
        assert found.sd_ah == pytest.approx(closed.sd_ah, rel=1e-8)


def test_sure_changes_of_charge_make_all_of_them_the_plain_fit() -> None:
    """Limit: without errors of the change nothing but the ampere-hours is left to be wrong."""
    plain = weighted_least_squares(X, Y, Y_SD)
    sure = 1e-9 * np.array(Y_SD)
    for found in (
        proportional_total_least_squares(X, Y, Y_SD, 1e-9),
        total_least_squares(X, Y, sure, Y_SD),
        recursive_total_least_squares(X, Y, sure, Y_SD),
    ):
        assert found.capacity_ah == pytest.approx(plain.capacity_ah, rel=1e-6)
        assert found.sd_ah == pytest.approx(plain.sd_ah, rel=1e-6)


def test_sure_amp_hours_fit_the_other_way_about() -> None:
    """Limit: without errors of the ampere-hours the change is fitted against them."""
    sure = 1e-7 * np.array(X_SD)
    expected = np.sum(np.square(Y) / np.square(X_SD)) / np.sum(np.multiply(X, Y) / np.square(X_SD))
    assert total_least_squares(X, Y, X_SD, sure).capacity_ah == pytest.approx(expected, rel=1e-6)


def test_other_units_of_charge_change_nothing() -> None:
    """Round trip: the ratio of uncertainties scales and does not weigh."""
    for found, other in zip(
        all_four(*map(np.array, (X, Y, X_SD, Y_SD))),
        all_four(np.array(X), 1000 * np.array(Y), np.array(X_SD), 1000 * np.array(Y_SD)),
        strict=True,
    ):
        assert other.capacity_ah == pytest.approx(1000 * found.capacity_ah, rel=1e-9)
        assert other.sd_ah == pytest.approx(1000 * found.sd_ah, rel=1e-9)


def test_a_start_value_by_itself_comes_back() -> None:
    """Limit: before any pair the fit is what was known beforehand."""
    found = CapacitySums.started(0.4, CapacityFit(5.0, 0.6)).fit()
    assert found.capacity_ah == pytest.approx(5.0, rel=1e-12)
    assert found.sd_ah == pytest.approx(0.6, rel=1e-9)


def test_a_start_value_weighs_by_its_uncertainty() -> None:
    """Limits: a vague one changes nothing, a sure one stands; in between both count."""
    free = recursive_total_least_squares(X, Y, X_SD, Y_SD)
    vague = recursive_total_least_squares(X, Y, X_SD, Y_SD, start=CapacityFit(6.0, 1000.0))
    sure = recursive_total_least_squares(X, Y, X_SD, Y_SD, start=CapacityFit(6.0, 0.0001))
    between = recursive_total_least_squares(X, Y, X_SD, Y_SD, start=CapacityFit(6.0, 0.2))
    assert vague.capacity_ah == pytest.approx(free.capacity_ah, rel=1e-5)
    assert sure.capacity_ah == pytest.approx(6.0, rel=1e-5)
    assert free.capacity_ah + 0.1 < between.capacity_ah < 5.9
    assert between.sd_ah < free.sd_ah


def test_forgetting_follows_a_capacity_that_fades() -> None:
    """Regression of what forgetting is for: it lies near the last capacity where the fit of all pairs lies near the mean."""
    x = np.tile([0.5, 0.7], 60)
    capacity = np.linspace(5.0, 4.0, 120)
    all_alike = recursive_total_least_squares(x, capacity * x, np.full(120, 0.02), np.full(120, 0.05))
    recent = recursive_total_least_squares(x, capacity * x, np.full(120, 0.02), np.full(120, 0.05), forgetting=0.9)
    assert all_alike.capacity_ah == pytest.approx(4.5, abs=0.03)
    assert recent.capacity_ah == pytest.approx(4.0, abs=0.1)
    assert recent.sd_ah > all_alike.sd_ah


def test_a_pair_that_did_not_move_does_not_matter_to_the_plain_fit_and_adds_doubt_to_no_other() -> None:
    """Limit: nothing passed and nothing changed."""
    x, y = np.append(X, 0.0), np.append(Y, 0.0)
    x_sd, y_sd = np.append(X_SD, 0.02), np.append(Y_SD, 0.03)
    for found, other in zip(all_four(*map(np.array, (X, Y, X_SD, Y_SD))), all_four(x, y, x_sd, y_sd), strict=True):
        assert other.capacity_ah == pytest.approx(found.capacity_ah, rel=1e-9)


@pytest.mark.parametrize(
    ("x", "y", "x_sd", "y_sd", "says"),
    [
        (X, Y[:4], X_SD, Y_SD, "5 changes of charge and 4 amp-hours"),
        ((), (), 0.1, 0.1, "at least one number"),
        (X, (2.0, float("nan"), 2.0, 2.0, 2.0), X_SD, Y_SD, "not a number"),
        (X, Y, X_SD[:3], Y_SD, "3 uncertainties of the changes of charge for 5"),
        (X, Y, X_SD, (0.03, 0.0, 0.04, 0.03, 0.03), "is 0; it must be above 0"),
        (X, Y, (0.02, -0.02, 0.03, 0.02, 0.02), Y_SD, "is -0.02; it must be above 0"),
        (X, Y, float("nan"), Y_SD, "above 0"),
        ((0.0,) * 5, Y, X_SD, Y_SD, "tell no capacity"),
        (X, (0.0,) * 5, X_SD, Y_SD, "tell no capacity"),
        (X, tuple(-y for y in Y), X_SD, Y_SD, "Check the signs"),
    ],
)
def test_bad_input_is_refused_in_words(x: object, y: object, x_sd: object, y_sd: object, says: str) -> None:
    """What cannot be fitted is said, and nothing is made up."""
    for fit in (total_least_squares, recursive_total_least_squares):
        with pytest.raises(InputError, match=says):
            fit(x, y, x_sd, y_sd)  # type: ignore[arg-type]


def test_bad_input_of_the_plainer_fits_is_refused_in_words() -> None:
    """The same for the two that know nothing of the errors of the change."""
    with pytest.raises(InputError, match="tell no capacity"):
        weighted_least_squares([0.0, 0.0], [1.0, 2.0], 0.1)
    with pytest.raises(InputError, match="above 0"):
        weighted_least_squares(X, Y, -0.1)
    with pytest.raises(InputError, match="2 changes of charge and 1 amp-hours"):
        proportional_total_least_squares([0.1, 0.2], [1.0], 0.1, 1.0)
    with pytest.raises(InputError, match="tell no capacity"):
        proportional_total_least_squares([0.0, 0.0], [1.0, 2.0], 0.1, 1.0)
    for ratio in (0.0, -1.0, float("nan")):
        with pytest.raises(InputError, match="ratio"):
            proportional_total_least_squares(X, Y, Y_SD, ratio)


def test_bad_starts_and_forgetting_are_refused_in_words() -> None:
    """Nothing is forgotten more than wholly, and nothing starts from no capacity."""
    with pytest.raises(InputError, match="start from is -5"):
        CapacitySums.started(0.5, CapacityFit(-5.0, 0.1))
    with pytest.raises(InputError, match="above 0"):
        CapacitySums.started(0.5, CapacityFit(5.0, 0.0))
    for forgetting in (0.0, 1.01, float("nan")):
        with pytest.raises(InputError, match="forgetting"):
            CapacitySums.started(0.5).add(0.5, 2.5, 0.02, 0.05, forgetting)
    with pytest.raises(InputError, match="tell no capacity"):
        CapacitySums.started(0.5).fit()


def test_one_number_serves_as_uncertainty_of_all() -> None:
    """Limit."""
    assert total_least_squares(X, Y, 0.02, 0.03) == total_least_squares(X, Y, [0.02] * 5, [0.03] * 5)
