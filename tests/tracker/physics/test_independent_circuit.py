"""The equivalent circuit against a package written by others, with the same parameters over a random load.

Independent: `thevenin` solves the differential equations with an adaptive integrator and evaluates the curves as functions;
here they are tables, and each second is one exact step.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.tracker.physics.independent_circuit import course
from tests.tracker.physics.made_up_cells import cells
from tracker.physics.cell_circuit import Heating, rested
from tracker.physics.cell_model import MovingCells

MOST_V = 1e-3


def random_load(seed: int, mean_a: float, minutes: float) -> list[tuple[float, float]]:
    """Return stretches of 5 to 30 s with anything from a little charging to bursts of four times the mean."""
    chance = np.random.default_rng(seed)
    steps: list[tuple[float, float]] = []
    while sum(seconds for seconds, _ in steps) < 60.0 * minutes:
        steps.append((float(chance.integers(5, 31)), float(mean_a * chance.uniform(-0.2, 1.0) * chance.choice([1.0, 1.0, 4.0]))))
    return steps


@pytest.mark.parametrize(
    ("temperature_k", "heating", "step_s"),
    [(298.15, None, 1.0), (273.15, None, 1.0), (298.15, None, 30.0), (278.15, Heating(110.0, 0.15, 278.15), 1.0)],
    ids=["warm", "cold", "whole stretches", "warming"],
)
def test_it_agrees_with_an_independent_package(temperature_k: float, heating: Heating | None, step_s: float) -> None:
    load = random_load(7, 18.0, 20.0)
    cooling = (None, 1.0) if heating is None else (heating.cooling_w_k, heating.heat_capacity_j_k)
    theirs = course(load, 1.0, temperature_k, *cooling, rtol=1e-9, atol=1e-11, max_step=1.0)
    one = cells((1,), heating=heating)
    moving = MovingCells(one, rested(one, 1.0, temperature_k))
    ours, warmth = [], []
    for seconds, amperes in load:
        pieces = round(np.ceil(seconds / step_s))
        for _ in range(pieces):
            volts = moving.advance(np.array(amperes), seconds / pieces)
        ours.append(float(volts[0]))
        warmth.append(float(np.max(moving.state.temperature_k)))
    assert theirs.soc[-1] < 0.2  # the load went deep enough to try the steep part of the resistances
    assert moving.soc[0] == pytest.approx(theirs.soc[-1], abs=1e-7)
    assert np.max(np.abs(np.array(ours) - theirs.voltage_v)) < MOST_V
    if heating is not None:
        assert theirs.temperature_k[-1] > temperature_k + 5.0
        np.testing.assert_allclose(warmth, theirs.temperature_k, atol=0.1)
