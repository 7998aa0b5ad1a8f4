"""Measured runs and rested curves as single runs of packs of one cell, each pack on its own: nothing is learned from one for another."""

from __future__ import annotations

import random
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from tests.tracker.measured import Score, as_charger_shows, rows, shown_v
from tracker.domain.pack import Pack
from tracker.domain.results import AssessedRun
from tracker.domain.session import Charge, Run
from tracker.estimators.assess import assess_packs
from tracker.estimators.history import PackHistory
from tracker.units import kelvin_from_celsius

START = datetime(2017, 3, 9, 18, 0, tzinfo=UTC)
COLD_C = 15.0
"""At or above it a run counts as warm."""


@dataclass(frozen=True, kw_only=True, slots=True)
class MeasuredRun:
    """One run, what it truly took, and its temperature."""

    pack: Pack
    run: Run
    from_full: bool
    used_ah: float
    temperature_c: float

    def history(self, *, counted: bool) -> PackHistory:
        """Return the pack's history: the charge before when it was full, the charge after when it is to be counted."""
        charges = [Charge(pack=self.pack.name, finished_at=START - timedelta(hours=1), goal="full")] if self.from_full else []
        if counted:
            shown_ah = as_charger_shows(self.used_ah, random.Random(self.pack.name))
            charges.append(Charge(pack=self.pack.name, finished_at=START + timedelta(hours=12), put_back_ah=shown_ah, goal="full"))
        return PackHistory(pack=self.pack, runs=(self.run,), charges=tuple(charges))


def cylinder_runs() -> list[MeasuredRun]:
    """Whole runs of one 18650 cell: constant current and driving cycles, -10 to 25 °C (doi:10.17632/wykht8y7tg.1)."""
    found: list[MeasuredRun] = []
    for row in rows("cylinder_nca_2900mah/run_summary.csv"):
        pack = Pack(name=row["run_id"], chemistry="liion", series=1, capacity_ah=float(row["rated_capacity_Ah"]))
        temperature_c = float(row["temp_start_degC"])
        run = Run(
            pack=pack.name,
            started_at=START,
            run_s=float(row["run_time_s"]),
            rest_before_s=float(row["rest_before_s"]),
            before_v=(shown_v(float(row["v_rest_before_V"])),),
            after_v=(shown_v(float(row["v_rest_after_last_V"])),),
            rest_after_s=float(row["rest_after_s"]),
            pack_k=kelvin_from_celsius(temperature_c),
        )
        used_ah = float(row["ah_removed_net_Ah"])
        found.append(MeasuredRun(pack=pack, run=run, from_full=True, used_ah=used_ah, temperature_c=temperature_c))
    return found


def pouch_runs(temperature_c: int, least_ah: float = 0.9) -> list[MeasuredRun]:
    """Every pair of rested voltages of one hobby pouch cell that lies a fifth of its charge apart (doi:10.17632/4fx8cjprxm.1)."""
    curve = [row for row in rows("pouch_lipo_5ah/ocv_relaxed.csv") if float(row["temp_degC"]) == temperature_c]
    curve = [row for row in curve if float(row["soc_of_measured"]) > 0.02]  # the last one rested for a different time
    found: list[MeasuredRun] = []
    for first, before in enumerate(curve):
        for after in curve[first + 1 :]:
            used_ah = float(after["ah_removed_Ah"]) - float(before["ah_removed_Ah"])
            if used_ah < least_ah:
                continue
            pack = Pack(
                name=f"pouch {temperature_c} {before['ah_removed_Ah']} {after['ah_removed_Ah']}",
                chemistry="lipo",
                series=1,
                capacity_ah=5.0,
            )
            run = Run(
                pack=pack.name,
                started_at=START,
                run_s=used_ah / float(after["load_current_before_rest_A"]) * 3600.0,
                rest_before_s=3600.0,
                before_v=(shown_v(float(before["ocv_V"])),),
                after_v=(shown_v(float(after["ocv_V"])),),
                rest_after_s=float(after["rest_s"]),
                pack_k=kelvin_from_celsius(temperature_c),
            )
            found.append(MeasuredRun(pack=pack, run=run, from_full=first == 0, used_ah=used_ah, temperature_c=temperature_c))
    return found


def assess(runs: Iterable[MeasuredRun], *, counted: bool) -> list[AssessedRun]:
    """Estimate each run by itself."""
    return [item for pack in assess_packs([run.history(counted=counted) for run in runs], {}, {}) for item in pack.runs]


def score(runs: Iterable[MeasuredRun], *, counted: bool) -> Score:
    """Estimate each run by itself and compare with what was measured."""
    known = list(runs)
    truth = {(run.run.pack, run.run.started_at): run.used_ah for run in known}
    return Score(assess(known, counted=counted), truth, {run.pack.name: run.pack.capacity_ah for run in known})
