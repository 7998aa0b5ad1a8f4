"""Bench tests: the supply turned down and up in steps while the motor turns lightly."""

from __future__ import annotations

from datetime import datetime, timedelta

import numpy as np

from sample_data.club import CONTROLLERS, ClubController
from sample_data.readings import local

STEP_MV = 50
REPEATS = 5
SPREAD_V = 0.015
"""Scatter of a threshold from one time to the next."""

TESTS: tuple[tuple[str, datetime], ...] = (
    ("right-track", datetime(2025, 11, 29, 19, 30)),  # noqa: DTZ001
    ("buggy-drive", datetime(2026, 3, 3, 20, 0)),  # noqa: DTZ001
    ("launch-drive", datetime(2026, 3, 24, 19, 10)),  # noqa: DTZ001
    ("tug-drive", datetime(2026, 3, 24, 20, 15)),  # noqa: DTZ001
    ("left-track", datetime(2026, 11, 10, 19, 20)),  # noqa: DTZ001
    ("right-track", datetime(2026, 11, 10, 20, 5)),  # noqa: DTZ001
)
"""Which controller stood on the bench when, local time."""

Row = dict[str, str]


def bench_rows(scatter: np.random.Generator) -> list[Row]:
    """Every reading of every bench test, in the order taken."""
    rows: list[Row] = []
    for name, tested_at in TESTS:
        controller = next(one for one in CONTROLLERS if one.name == name)
        if controller.true_restart_v is None:
            # One that stays off has to be unplugged: each time down and up is a test of its own.
            for repeat in range(REPEATS):
                rows += _rows(name, tested_at + timedelta(minutes=4 * repeat), _ramp(controller, 1, scatter))
        else:
            rows += _rows(name, tested_at, _ramp(controller, REPEATS, scatter))
    return rows


def _ramp(controller: ClubController, repeats: int, scatter: np.random.Generator) -> list[tuple[int, bool]]:
    """Supply in millivolts and whether the motor runs, down and up so many times."""
    if controller.true_trip_v is None:
        return []
    top_mv = _on_step(controller.true_trip_v + 0.4)
    supply_mv = top_mv
    readings = [(supply_mv, True)]
    for _ in range(repeats):
        trip_mv = 1000.0 * (controller.true_trip_v + scatter.normal(0.0, SPREAD_V))
        while readings[-1][1]:
            supply_mv -= STEP_MV
            readings.append((supply_mv, supply_mv >= trip_mv))
        restart_v = controller.true_restart_v
        if restart_v is None:
            readings += [(above_mv, False) for above_mv in range(supply_mv + STEP_MV, top_mv + 1, STEP_MV)]
            break
        restart_mv = 1000.0 * (restart_v + scatter.normal(0.0, SPREAD_V))
        while not readings[-1][1]:
            supply_mv += STEP_MV
            readings.append((supply_mv, supply_mv >= restart_mv))
    return readings


def _on_step(volts: float) -> int:
    return round(1000.0 * volts / STEP_MV) * STEP_MV


def _rows(name: str, tested_at: datetime, readings: list[tuple[int, bool]]) -> list[Row]:
    return [
        {
            "controller": name,
            "tested_at": local(tested_at),
            "supply_v": f"{supply_mv / 1000.0:.2f}",
            "motor": "running" if runs else "stopped",
        }
        for supply_mv, runs in readings
    ]
