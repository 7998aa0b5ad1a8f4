"""Write the invented club's logbook: ``python -m sample_data.make_season [FOLDER]``.

Without a folder the files beside this script are written anew. The numbers come out the same each time.
"""

from __future__ import annotations

import argparse
import csv
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from sample_data import FILE_NAMES
from sample_data.bench import bench_rows
from sample_data.club import CONTROLLERS, PACKS, VEHICLES
from sample_data.season import SEASON, Row, simulate_season

COLUMNS: dict[str, tuple[str, ...]] = {
    "packs": ("pack", "chemistry", "series", "parallel", "capacity_mah", "continuous_c", "acquired_on", "retired_on", "notes"),
    "vehicles": ("vehicle", "controllers", "lead_mohm", "usual_a", "notes"),
    "controllers": ("controller", "cutoff_mode", "cutoff_v", "restart_v", "load_share", "powers_receiver", "notes"),
    "runs": (
        "pack",
        "vehicle",
        "started_at",
        "run_min",
        "rest_before_min",
        "before_v",
        "loaded_v",
        "loaded_a",
        "mean_a",
        "used_mah",
        "after_v",
        "rest_after_min",
        "cutoff_v",
        "pack_c",
        "ended_by",
        "notes",
    ),
    "charges": ("pack", "finished_at", "put_back_mah", "end_v", "goal", "cell_mohm", "pack_c", "notes"),
    "bench": ("controller", "tested_at", "supply_v", "motor"),
}
BENCH_NUMBERS = 100
"""Sets the bench's random numbers apart from those of the packs."""


def all_rows() -> dict[str, list[Row]]:
    """Rows of every file, by kind."""
    season = simulate_season()
    return {
        "packs": _pack_rows(),
        "vehicles": _vehicle_rows(),
        "controllers": _controller_rows(),
        "runs": season.rows["runs"],
        "charges": season.rows["charges"],
        "bench": bench_rows(np.random.default_rng([SEASON, BENCH_NUMBERS])),
    }


def write(folder: Path) -> tuple[Path, ...]:
    """Write every file into `folder` and return their paths."""
    rows = all_rows()
    folder.mkdir(parents=True, exist_ok=True)
    paths = tuple(folder / name for name in FILE_NAMES)
    for path in paths:
        with path.open("w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, COLUMNS[path.stem], restval="", lineterminator="\n")
            writer.writeheader()
            writer.writerows(rows[path.stem])
    return paths


def main(arguments: Sequence[str] | None = None) -> None:
    """Write the files where the command line says."""
    parser = argparse.ArgumentParser(
        prog="python -m sample_data.make_season", description="Write the invented club's logbook as CSV files."
    )
    parser.add_argument("folder", nargs="?", type=Path, default=Path(__file__).parent, help="where to write (default: beside the script)")
    for path in write(parser.parse_args(arguments).folder):
        print(path)


def _pack_rows() -> list[Row]:
    return [
        {
            "pack": pack.name,
            "chemistry": pack.chemistry,
            "series": f"{len(pack.cell_capacity)}",
            "parallel": f"{pack.parallel}",
            "capacity_mah": f"{pack.capacity_mah}",
            "continuous_c": f"{pack.continuous_c}",
            "acquired_on": pack.acquired_on.isoformat(),
            "retired_on": "" if pack.retired_on is None else pack.retired_on.isoformat(),
            "notes": pack.notes,
        }
        for pack in PACKS
    ]


def _vehicle_rows() -> list[Row]:
    return [
        {
            "vehicle": vehicle.name,
            "controllers": " ".join(vehicle.controllers),
            "lead_mohm": f"{vehicle.lead_mohm:g}",
            "usual_a": f"{vehicle.usual_a:g}",
            "notes": vehicle.notes,
        }
        for vehicle in VEHICLES
    ]


def _controller_rows() -> list[Row]:
    return [
        {
            "controller": controller.name,
            "cutoff_mode": controller.mode,
            "cutoff_v": _volts(controller.cutoff_v),
            "restart_v": _volts(controller.restart_v),
            "load_share": f"{controller.share:g}",
            "powers_receiver": "yes" if controller.receiver else "no",
            "notes": controller.notes,
        }
        for controller in CONTROLLERS
    ]


def _volts(value_v: float | None) -> str:
    return "" if value_v is None else f"{value_v:g}"


if __name__ == "__main__":
    main()
