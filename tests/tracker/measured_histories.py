"""The measured ageing cells as whole histories of packs of one cell, with the charger's count for as many runs as wanted.

B. Saha, K. Goebel (2007), Battery Data Set, NASA Prognostics Data Repository, NASA Ames Research Center.
"""

from __future__ import annotations

import random
from datetime import UTC, datetime, timedelta

from tests.tracker.measured import Truth, as_charger_shows, rows, shown_v
from tracker.domain.pack import Pack
from tracker.domain.session import Charge, Run
from tracker.estimators.history import PackHistory
from tracker.units import kelvin_from_celsius

RATED_AH = 2.0


def ageing_history(cell: str, counted: int | None = None) -> tuple[PackHistory, Truth]:
    """Return the clean rows of one cell, its first `counted` charges with their count (all when None), and what each run took."""
    pack = Pack(name=cell, chemistry="liion", series=1, capacity_ah=RATED_AH)
    chance = random.Random(cell)
    truth: Truth = {}
    runs: list[Run] = []
    charges: list[Charge] = []
    clean = [row for row in rows("ageing_cylinder_2ah/cycle_summary.csv") if row["battery_id"] == cell and not row["flags"]]
    for row in clean:
        start = datetime.fromisoformat(row["start_time"]).replace(tzinfo=UTC)
        run_s = float(row["run_time_s"])
        truth[cell, start] = float(row["ah_removed_integrated_Ah"])
        runs.append(
            Run(
                pack=cell,
                started_at=start,
                run_s=run_s,
                before_v=(shown_v(float(row["v_rest_before_V"])),),
                after_v=(shown_v(float(row["v_end_of_record_V"])),),
                rest_after_s=float(row["rest_after_in_record_s"]),
                pack_k=kelvin_from_celsius(float(row["temp_start_degC"])),
            )
        )
        if row["ah_charged_next_Ah"]:
            put_back_ah = as_charger_shows(float(row["ah_charged_next_Ah"]), chance) if counted is None or len(runs) <= counted else None
            charges.append(Charge(pack=cell, finished_at=start + timedelta(seconds=run_s, hours=0.5), put_back_ah=put_back_ah, goal="full"))
    return PackHistory(pack=pack, runs=tuple(runs), charges=tuple(charges)), truth
