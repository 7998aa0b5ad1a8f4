"""Measurements that may lie beside the checkout, and turning them into what a person would have written down."""

from __future__ import annotations

import csv
import random
from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from tracker.domain.results import AssessedRun, Estimate

MEASURED = Path(__file__).resolve().parents[2].parent / "shared" / "data"
CHARGER_RELATIVE_SD = 0.015
"""Gain error of a hobby charger's count from one charge to the next. Common practice, no source."""
METER_STEP_V = 0.01
"""What a cell checker shows. Common practice, no source."""

Row = Mapping[str, str]
Truth = dict[tuple[str, datetime], float]
"""Charge each run took, by pack and start [Ah]."""


def rows(name: str) -> list[dict[str, str]]:
    """Read a table of the measured data, or skip the test where it is not beside this checkout."""
    path = MEASURED / name
    if not path.is_file():
        pytest.skip(f"measured data {name} is not beside this checkout")
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def shown_v(voltage_v: float) -> float:
    """Return a voltage as a cell checker shows it."""
    return round(round(voltage_v / METER_STEP_V) * METER_STEP_V, 2)


def as_charger_shows(counted_ah: float, chance: random.Random, relative_sd: float = CHARGER_RELATIVE_SD) -> float:
    """Return what a hobby charger would have counted, to 1 mAh."""
    return round(counted_ah * chance.gauss(1.0, relative_sd), 3)


def write_ageing_logbook(folder: Path, table: Sequence[Row]) -> Truth:
    """Turn the clean rows of the ageing cells into logbook files and return what each run truly took."""
    clean = [row for row in table if not row["flags"]]
    chance = random.Random(20)
    truth: Truth = {}
    runs, charges = [], []
    for row in clean:
        start = datetime.fromisoformat(row["start_time"]).replace(tzinfo=UTC)
        run_s = float(row["run_time_s"])
        truth[row["battery_id"], start] = float(row["ah_removed_integrated_Ah"])
        runs.append(
            {
                "pack": row["battery_id"],
                "started_at": start.isoformat(),
                "run_min": run_s / 60.0,
                "before_v": f"{shown_v(float(row['v_rest_before_V'])):.2f}",
                "after_v": f"{shown_v(float(row['v_end_of_record_V'])):.2f}",
                "rest_after_min": float(row["rest_after_in_record_s"]) / 60.0,
                "pack_c": row["temp_start_degC"],
            }
        )
        if row["ah_charged_next_Ah"]:
            counted = as_charger_shows(float(row["ah_charged_next_Ah"]), chance)
            finished = start + timedelta(seconds=run_s, hours=0.5)
            charges.append(
                {"pack": row["battery_id"], "finished_at": finished.isoformat(), "put_back_mah": f"{1000 * counted:.0f}", "goal": "full"}
            )
    names = sorted({row["battery_id"] for row in clean})
    packs = [{"pack": name, "chemistry": "liion", "series": 1, "capacity_mah": 2000} for name in names]
    for kind, records in (("packs", packs), ("runs", runs), ("charges", charges)):
        with (folder / f"{kind}.csv").open("w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, fieldnames=list(records[0]))
            writer.writeheader()
            writer.writerows(records)
    return truth


class Score:
    """Errors of the charge used against the truth, over rated."""

    def __init__(self, assessed: Iterable[AssessedRun], truth: Truth, rated_ah: Mapping[str, float]) -> None:
        self.errors: list[float] = []
        self.held: list[bool] = []
        self.unsaid = 0
        for item in assessed:
            used = item.estimate.used_ah
            if not isinstance(used, Estimate):
                self.unsaid += 1
                continue
            true_ah = truth[item.run.pack, item.run.started_at]
            self.errors.append((used.value - true_ah) / rated_ah[item.run.pack])
            self.held.append(used.low <= true_ah <= used.high)

    @property
    def rms(self) -> float:
        """Root mean square error over rated."""
        return float(np.sqrt(np.mean(np.square(self.errors))))

    @property
    def mean(self) -> float:
        """Mean error over rated."""
        return float(np.mean(self.errors))

    @property
    def worst(self) -> float:
        """Largest error over rated."""
        return float(np.max(np.abs(self.errors)))

    @property
    def coverage(self) -> float:
        """Share of 90 % intervals that hold the truth."""
        return float(np.mean(self.held))
