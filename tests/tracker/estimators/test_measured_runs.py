"""Whole runs and rested voltages of measured cells, warm and cold; skipped where the measurements are not beside the checkout.

P. Kollmeyer (2018), Mendeley Data, doi:10.17632/wykht8y7tg.1 (18650 cell of 2.9 Ah);
P. Kollmeyer, M. Skells (2020), Mendeley Data, doi:10.17632/4fx8cjprxm.1 (hobby pouch cell of 5 Ah).
The voltage curves of both cells are among those their chemistry is drawn from, at 25 °C; the cold is not.
Limits are what was found plus about a quarter.
"""

from __future__ import annotations

import pytest

from tests.tracker.measured_runs import COLD_C, cylinder_runs, pouch_runs, score

POUCH_TEMPERATURES_C = [-10, 0, 10, 25, 40]


def test_warm_cylinder_counted() -> None:
    """Measured: constant current and driving cycles around 25 °C, two of them on the cell when it had aged to 84 %."""
    found = score([run for run in cylinder_runs() if run.temperature_c >= COLD_C], counted=True)
    assert len(found.errors) == 8
    assert found.unsaid == 0
    assert found.rms <= 0.015
    assert found.coverage >= 0.85


def test_cold_cylinder_counted() -> None:
    """Measured: 10, 0 and -10 °C."""
    found = score([run for run in cylinder_runs() if run.temperature_c < COLD_C], counted=True)
    assert len(found.errors) == 3
    assert found.worst <= 0.023
    assert found.coverage == 1.0


def test_warm_cylinder_by_voltages_alone() -> None:
    """Measured: emptied runs are the hardest, for what a label holds is not known."""
    found = score([run for run in cylinder_runs() if run.temperature_c >= COLD_C], counted=False)
    assert len(found.errors) == 8
    assert found.unsaid == 0
    assert found.rms <= 0.075
    assert found.coverage >= 0.85


def test_cold_cylinder_by_voltages_alone() -> None:
    """Measured: 10, 0 and -10 °C, read a quarter of an hour to an hour after the load."""
    found = score([run for run in cylinder_runs() if run.temperature_c < COLD_C], counted=False)
    assert len(found.errors) == 3
    assert found.worst <= 0.045
    assert found.coverage == 1.0


@pytest.mark.parametrize("temperature_c", POUCH_TEMPERATURES_C)
def test_pouch_counted(temperature_c: int) -> None:
    """Measured: from full down to each step; the charger's 1.5 % is nearly all of the error, whatever the temperature."""
    found = score([run for run in pouch_runs(temperature_c) if run.from_full], counted=True)
    assert len(found.errors) >= 8
    assert found.unsaid == 0
    assert found.rms <= 0.018
    assert found.coverage >= 0.85


@pytest.mark.parametrize("temperature_c", POUCH_TEMPERATURES_C)
def test_pouch_by_voltages_alone(temperature_c: int) -> None:
    """Measured: between every two steps a fifth of the charge apart, after an hour of rest; the curve of the pack is not known."""
    found = score(pouch_runs(temperature_c), counted=False)
    assert len(found.errors) >= 40
    assert found.unsaid == 0
    assert found.rms <= (0.09 if temperature_c >= 25 else 0.105)
    assert found.worst <= 0.28
    assert found.coverage >= 0.85
