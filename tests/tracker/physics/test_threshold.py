"""How well a threshold is known."""

from __future__ import annotations

import numpy as np
import pytest

from tracker.physics.threshold import (
    coverage_factor,
    delay_shift,
    drift,
    effective_freedom,
    meter_uncertainty,
    ramp_rate,
    threshold,
)

INFINITE = float("inf")


def test_the_steps_alone() -> None:
    """Published: JCGM 100:2008, F.2.2.1, a step of δx has u = 0.29 δx; repeats do not make it finer."""
    for repeats in (1, 5):
        found = threshold([6.40] * repeats, [6.45] * repeats, 0.01)
        assert found.value_v == pytest.approx(6.425)
        assert found.step_sd_v == pytest.approx(0.29 * 0.05, rel=0.005)
        assert found.repeat_sd_v == pytest.approx(0.0, abs=1e-9)
    assert threshold([6.4], [6.45], 0.01).spread_v is None


def test_the_scatter_of_repeats() -> None:
    """Published: JCGM 100:2008, 4.2.2 and 4.2.3, s/√n of the mean with n − 1 degrees of freedom, against numpy."""
    low = np.array([6.40, 6.42, 6.37, 6.41, 6.45])
    found = threshold(low, low + 0.02, 0.01)
    assert found.spread_v == pytest.approx(np.std(low, ddof=1))
    assert found.repeat_sd_v == pytest.approx(np.std(low, ddof=1) / np.sqrt(5))
    assert found.freedom == pytest.approx(4)
    assert found.value_v == pytest.approx(low.mean() + 0.01)


def test_a_coarse_approach_does_not_spoil_fine_ones() -> None:
    fine = threshold([6.40, 6.41], [6.42, 6.43], 0.01)
    with_coarse = threshold([6.40, 6.41, 6.0], [6.42, 6.43, 7.0], 0.01)
    assert with_coarse.value_v == pytest.approx(fine.value_v, abs=0.001)
    assert with_coarse.step_sd_v == pytest.approx(fine.step_sd_v, rel=0.1)


def test_no_step_is_finer_than_what_can_be_told_apart() -> None:
    assert threshold([6.4], [6.4], 0.01).step_sd_v == pytest.approx(0.01 / np.sqrt(12))


def test_drift() -> None:
    assert drift([6.4, 6.4], [0.01, 0.01]) is None
    steady = drift([6.4] * 5, [0.05] * 5)
    assert steady is not None
    assert steady.change_v == pytest.approx(0.0, abs=1e-12)
    # Limits: of steps alone the slope is uncertain by u / √Σ(x − x̄)², the change by four times that.
    assert steady.sd_v == pytest.approx(4 * 0.05 / np.sqrt(12) / np.sqrt(10))
    falling = drift([6.50, 6.45, 6.40, 6.35], [0.001] * 4)
    assert falling is not None
    assert falling.change_v == pytest.approx(-0.15)
    assert falling.sd_v < 0.001


@pytest.mark.parametrize(
    ("freedom", "coverage", "factor"),
    [  # published: JCGM 100:2008, Table G.2
        (1, 0.90, 6.31),
        (4, 0.90, 2.13),
        (4, 0.95, 2.78),
        (10, 0.95, 2.23),
        (INFINITE, 0.90, 1.645),
        (INFINITE, 0.95, 1.960),
    ],
)
def test_coverage_factors(freedom: float, coverage: float, factor: float) -> None:
    assert coverage_factor(freedom, coverage) == pytest.approx(factor, abs=0.005)


def test_freedom_of_a_sum() -> None:
    """Published: JCGM 100:2008, the example in G.4.1 for relative uncertainties 0.25, 0.57 and 0.82 % gives 19.0."""
    assert effective_freedom([0.25, 0.57, 0.82], [9, 4, 14]) == pytest.approx(19.0, abs=0.05)
    assert effective_freedom([0.1, 0.2], [INFINITE, INFINITE]) == INFINITE
    assert effective_freedom([0.3, 0.0], [4, INFINITE]) == pytest.approx(4)


def test_a_hand_held_meter() -> None:
    """Worked by hand: 0.5 % of 12 V and one digit of 10 mV are ±0.070 V, a rectangle with u = 0.0404 V."""
    assert float(meter_uncertainty(12.0, 0.005, 0.01)) == pytest.approx(0.0404, abs=5e-5)


def test_a_ramp_and_a_slow_controller() -> None:
    """Limits: turned down at 0.1 V/s, one that takes up to 0.4 s acts up to 40 mV too low, 20 mV on the average."""
    assert ramp_rate([0.0, 0.1, 0.2, 0.3], [6.50, 6.49, 6.48, 6.47]) == pytest.approx(-0.1)
    shift, sd = delay_shift(-0.1, 0.4)
    assert shift == pytest.approx(0.02)
    assert sd == pytest.approx(0.04 / np.sqrt(12))
    assert delay_shift(0.1, 0.4)[0] == pytest.approx(-0.02)
    assert delay_shift(-0.1, 0.0) == (0.0, 0.0)
