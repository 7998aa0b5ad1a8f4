"""The committed files are what the script writes, and what the logbook format allows."""

from __future__ import annotations

import filecmp
from datetime import date, datetime
from pathlib import Path

import pytest

import sample_data
from sample_data import FILE_NAMES, csv_files, folder
from sample_data.make_season import COLUMNS, main
from tests.sample_data.conftest import Rows
from tracker.chemistry import names
from tracker.domain.controller import CUTOFF_MODES
from tracker.domain.session import ENDINGS, GOALS

REQUIRED = {
    "packs": ("pack", "chemistry", "series", "capacity_mah"),
    "vehicles": ("vehicle",),
    "controllers": ("controller", "cutoff_mode"),
    "runs": ("pack", "started_at", "run_min"),
    "charges": ("pack", "finished_at"),
    "bench": ("controller", "tested_at", "supply_v", "motor"),
}
NUMBERS = {
    "packs": ("series", "parallel", "capacity_mah", "continuous_c"),
    "vehicles": ("lead_mohm", "usual_a"),
    "controllers": ("cutoff_v", "restart_v", "load_share"),
    "runs": ("run_min", "rest_before_min", "loaded_a", "mean_a", "used_mah", "rest_after_min", "pack_c"),
    "charges": ("put_back_mah", "pack_c"),
    "bench": ("supply_v",),
}
VOLTS = {"runs": ("before_v", "loaded_v", "after_v"), "charges": ("end_v",)}
FIRST_DAY, LAST_DAY = date(2025, 11, 29), date(2026, 11, 22)


def test_the_script_writes_the_committed_files_into_a_folder_and_names_them(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Regression: the season is the same each time, and the files were not edited by hand."""
    main([str(tmp_path / "new")])
    written = [Path(line) for line in capsys.readouterr().out.splitlines()]
    here = Path(sample_data.__file__).parent
    assert written == [tmp_path / "new" / name for name in FILE_NAMES]
    different = [path.name for path in written if not filecmp.cmp(path, here / path.name, shallow=False)]
    assert different == [], "run `python -m sample_data.make_season` and commit the files"


def test_the_package_finds_its_files() -> None:
    assert [path.name for path in csv_files()] == list(FILE_NAMES)
    assert all(path.is_file() for path in csv_files())
    assert (folder() / "README.md").is_file()


def test_the_readme_says_invented_and_names_every_column_pack_and_count(rows: Rows) -> None:
    text = (folder() / "README.md").read_text("utf-8")
    assert "Everything here is invented" in text
    for kind, columns in COLUMNS.items():
        assert f"`{kind}.csv`" in text
        assert [column for column in columns if column not in text] == []
    assert [row["pack"] for row in rows["packs"] if row["pack"] not in text] == []
    assert f"{len(rows['packs'])} packs" in text
    assert f"{len(rows['runs'])} runs" in text


def test_there_is_enough_of_everything(rows: Rows) -> None:
    assert len(rows["packs"]) >= 9
    assert len({row["chemistry"] for row in rows["packs"]}) >= 5
    assert len(rows["runs"]) >= 170
    per_pack = {row["pack"]: sum(run["pack"] == row["pack"] for run in rows["runs"]) for row in rows["packs"]}
    assert min(per_pack.values()) >= 8
    days = [datetime.fromisoformat(row["started_at"]).date() for row in rows["runs"]]
    assert min(days) >= FIRST_DAY
    assert max(days) == LAST_DAY
    assert (max(days) - min(days)).days > 330


@pytest.mark.parametrize("kind", list(COLUMNS))
def test_required_columns_are_filled_and_numbers_are_numbers(kind: str, rows: Rows) -> None:
    for row in rows[kind]:
        assert [column for column in REQUIRED[kind] if not row[column]] == []
        for column in NUMBERS[kind]:
            if row[column]:
                float(row[column])


def test_references_kinds_and_dates_hold(rows: Rows) -> None:
    packs = {row["pack"] for row in rows["packs"]}
    controllers = {row["controller"] for row in rows["controllers"]}
    vehicles = {row["vehicle"]: row["controllers"].split() for row in rows["vehicles"]}
    assert {row["chemistry"] for row in rows["packs"]} <= set(names())
    assert {row["cutoff_mode"] for row in rows["controllers"]} <= set(CUTOFF_MODES)
    assert {name for carried in vehicles.values() for name in carried} == controllers
    assert {row["pack"] for row in rows["runs"]} == packs
    assert {row["pack"] for row in rows["charges"]} == packs
    assert {row["vehicle"] for row in rows["runs"]} == set(vehicles)
    assert {row["ended_by"] for row in rows["runs"]} <= set(ENDINGS)
    assert {row["goal"] for row in rows["charges"]} <= set(GOALS)
    assert {row["controller"] for row in rows["bench"]} <= controllers
    assert {row["motor"] for row in rows["bench"]} == {"running", "stopped"}
    for row in rows["runs"]:
        assert len(row["cutoff_v"].split()) in (0, len(vehicles[row["vehicle"]]))
    for kind, column in (("runs", "started_at"), ("charges", "finished_at")):
        keys = [(row["pack"], row[column]) for row in rows[kind]]
        assert len(set(keys)) == len(keys)
        assert all(datetime.fromisoformat(row[column]).tzinfo is None for row in rows[kind])


@pytest.mark.parametrize("kind", list(VOLTS))
def test_voltages_are_a_total_or_one_a_cell(kind: str, rows: Rows) -> None:
    series = {row["pack"]: int(row["series"]) for row in rows["packs"]}
    for row in rows[kind]:
        for column in VOLTS[kind]:
            volts = [float(text) for text in row[column].split()]
            assert len(volts) in (0, 1, series[row["pack"]])
    for row in rows["charges"]:
        assert len(row["cell_mohm"].split()) in (0, series[row["pack"]])


def test_readings_after_a_run_say_how_long_the_pack_rested(rows: Rows) -> None:
    assert all(bool(row["after_v"]) == bool(row["rest_after_min"]) for row in rows["runs"])
    assert sum(bool(row["after_v"]) for row in rows["runs"]) > 0.8 * len(rows["runs"])


def test_the_intake_reads_the_folder_without_a_warning(rows: Rows) -> None:
    logbook = pytest.importorskip("tracker.intake.logbook", reason="the intake is not built yet")
    intake = logbook.read_files([Path(sample_data.__file__).parent / name for name in FILE_NAMES])
    assert intake.warnings == ()
    assert len(intake.logbook.packs) == len(rows["packs"])
    assert len(intake.logbook.runs) == len(rows["runs"])
    assert len(intake.logbook.charges) == len(rows["charges"])
    assert sum(len(test.readings) for test in intake.logbook.bench_tests) == len(rows["bench"])
