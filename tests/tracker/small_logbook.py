"""A small logbook of invented packs as files, for tests that need a whole one."""

from __future__ import annotations

from pathlib import Path

PACKS = """\
pack,chemistry,series,parallel,capacity_mah,continuous_c,acquired_on,retired_on,notes
Tug A,lipo,2,1,5000,30,2025-01-10,,
Tug B,lipo,2,1,5000,30,2025-01-10,,"second one, blue tape"
Groomer,nimh,7,1,3700,,,,
Old one,lipo,3,1,2200,20,2019-05-01,2024-09-30,swollen
"""

CONTROLLERS = """\
controller,cutoff_mode,cutoff_v,restart_v,load_share,powers_receiver,notes
Left,pack_v,6.4,6.9,0.5,yes,
Right,pack_v,5.1,,0.5,no,meant for nickel
"""

VEHICLES = """\
vehicle,controllers,lead_mohm,usual_a,notes
Pond tug,Left Right,12,14,
"""

RUNS = """\
pack,vehicle,started_at,run_min,rest_before_min,before_v,loaded_v,loaded_a,mean_a,used_mah,after_v,rest_after_min,cutoff_v,pack_c,ended_by,notes
Tug A,Pond tug,2025-04-05T10:00:00Z,14,60,4.18 4.17,,,14,,3.80 3.79,30,6.4 5.1,22,driver,
Tug A,Pond tug,2025-04-12T10:00:00Z,17,60,8.36,6.9,20,14,,7.50,30,,20,cutoff,"deep, I think"
Tug B,Pond tug,2025-04-05T11:00:00Z,12,60,4.19 4.19,,,14,2800,3.84 3.83,45,,22,driver,
Groomer,,2025-04-06T09:00:00Z,25,,9.9,,,,,8.6,20,,15,driver,
"""

CHARGES = """\
pack,finished_at,put_back_mah,end_v,goal,cell_mohm,pack_c,notes
Tug A,2025-04-05T18:00:00Z,3300,4.20 4.20,full,3.1 3.3,23,
Tug B,2025-04-05T19:00:00Z,2850,8.40,full,,23,
"""

BENCH = """\
controller,tested_at,supply_v,motor
Left,2025-03-01T12:00:00Z,7.0,running
Left,2025-03-01T12:00:00Z,6.4,stopped
Left,2025-03-01T12:00:00Z,6.9,running
"""

FILES = {"packs": PACKS, "controllers": CONTROLLERS, "vehicles": VEHICLES, "runs": RUNS, "charges": CHARGES, "bench": BENCH}

COUNTS = {"packs": 4, "vehicles": 1, "controllers": 2, "runs": 4, "charges": 2, "bench": 1}


def write(folder: Path, **files: str) -> list[Path]:
    """Write files of these kinds, of the small logbook where only the kind is named by an empty text, and return their paths."""
    folder.mkdir(parents=True, exist_ok=True)
    paths = []
    for kind, text in (files or dict.fromkeys(FILES, "")).items():
        path = folder / f"{kind}.csv"
        path.write_text(text or FILES[kind], encoding="utf-8")
        paths.append(path)
    return paths
