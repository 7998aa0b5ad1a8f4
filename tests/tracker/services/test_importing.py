"""Imports: all or nothing, the same again, differences, and every refusal with its place."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.tracker.small_logbook import COUNTS, FILES, PACKS, RUNS, write
from tracker.domain.controller import Vehicle
from tracker.errors import ImportRefusedError
from tracker.services import Services

NOTHING = dict.fromkeys(COUNTS, 0)


def counts(services: Services, folder: Path) -> int:
    """How many records an export holds: what is really stored."""
    return sum(len(path.read_text("utf-8").splitlines()) - 1 for path in services.exchange.export(folder))


def refusal(services: Services, paths: list[Path], *, update: bool = False) -> ImportRefusedError:
    with pytest.raises(ImportRefusedError) as caught:
        services.exchange.import_files(paths, update=update)
    return caught.value


def test_first_import_adds_everything(services: Services, tmp_path: Path) -> None:
    report = services.exchange.import_files(write(tmp_path / "in"))
    assert report.added == COUNTS
    assert report.updated == report.unchanged == NOTHING
    assert not report.dry_run
    assert [pack.name for pack in services.packs.all(include_retired=True)] == ["Groomer", "Old one", "Tug A", "Tug B"]
    assert [pack.name for pack in services.packs.all()] == ["Groomer", "Tug A", "Tug B"]


def test_same_rows_again_change_nothing(filled: Services, tmp_path: Path) -> None:
    estimates = filled.runs.assess()
    report = filled.exchange.import_files(write(tmp_path / "again"))
    assert report.unchanged == COUNTS
    assert report.added == report.updated == NOTHING
    assert filled.runs.waiting() == 0
    assert filled.runs.assess() == estimates


def test_a_folder_may_be_named(services: Services, tmp_path: Path) -> None:
    write(tmp_path / "in")
    assert services.exchange.import_files([tmp_path / "in"]).added == COUNTS


def test_every_differing_row_is_refused_with_its_place(filled: Services, tmp_path: Path) -> None:
    runs = RUNS.replace("3.80 3.79", "3.80 3.78").replace(",2800,", ",2900,")
    packs = PACKS.replace("swollen", "swollen and given away")
    error = refusal(filled, write(tmp_path / "other", packs=packs, runs=runs))
    assert [(Path(row.file).name, row.line, row.column) for row in error.rows] == [
        ("packs.csv", 5, "notes"),
        ("runs.csv", 2, "after_v"),
        ("runs.csv", 4, "used_mah"),
    ]
    assert all("--update" in row.message for row in error.rows)
    assert next(p for p in filled.packs.all(include_retired=True) if p.name == "Old one").notes == "swollen"


def test_update_replaces_differing_rows_and_assesses_those_packs_anew(filled: Services, tmp_path: Path) -> None:
    before = {(each.run.pack, each.run.started_at): each.estimate for each in filled.runs.assess()}
    runs = RUNS.replace(",2800,", ",2200,").replace("12,60,4.19 4.19", "12,60,4.19 4.18")
    report = filled.exchange.import_files(write(tmp_path / "other", runs=runs), update=True)
    assert report.updated == {**NOTHING, "runs": 1}
    assert report.unchanged == {**NOTHING, "runs": 3}
    assert filled.runs.waiting() == 1
    after = {(each.run.pack, each.run.started_at): each.estimate for each in filled.runs.assess()}
    changed = {pack for (pack, at), estimate in after.items() if before[pack, at] != estimate}
    assert changed == {"Tug B"}


def test_dry_run_reports_the_same_and_stores_nothing(services: Services, tmp_path: Path) -> None:
    paths = write(tmp_path / "in", packs="", runs="")
    trial = services.exchange.import_files(paths, dry_run=True)
    assert trial.dry_run
    assert services.packs.all(include_retired=True) == ()
    assert counts(services, tmp_path / "out") == 0
    real = services.exchange.import_files(paths)
    assert (trial.added, trial.warnings) == (real.added, real.warnings)
    assert real.added["runs"] == 4


def test_dry_run_refuses_what_the_import_would_refuse(services: Services, tmp_path: Path) -> None:
    with pytest.raises(ImportRefusedError):
        services.exchange.import_files(write(tmp_path / "in", runs=""), dry_run=True)


def test_a_pack_known_nowhere_is_refused_and_nothing_stored(services: Services, tmp_path: Path) -> None:
    error = refusal(services, write(tmp_path / "in", packs="pack,chemistry,series,capacity_mah\nTug A,lipo,2,5000\n", runs=""))
    assert [(row.line, row.column) for row in error.rows] == [(4, "pack"), (5, "pack")]
    assert "'Tug B' is not known" in error.rows[0].message
    assert "'Tug A'" in error.rows[0].message
    assert services.packs.all() == ()


def test_a_pack_stored_before_need_not_be_in_the_files(filled: Services, tmp_path: Path) -> None:
    report = filled.exchange.import_files(write(tmp_path / "more", runs="pack,started_at,run_min\nTug A,2025-05-01T10:00Z,12\n"))
    assert report.added == {**NOTHING, "runs": 1}


@pytest.mark.parametrize(
    ("kind", "old", "new", "line", "column", "words"),
    [
        (
            "runs",
            "4.18 4.17",
            "4.18 4.17 4.16",
            2,
            "before_v",
            "3 numbers are given, but pack 'Tug A' has 2 in series; allowed is 1 (the pack's total) or 2",
        ),
        ("runs", ",6.9,20", ",3.5 3.4 3.3,20", 3, "loaded_v", "3 numbers"),
        ("charges", "4.20 4.20", "4.20 4.20 4.20", 2, "end_v", "3 numbers"),
        ("charges", "3.1 3.3", "3.1", 2, "cell_mohm", "1 number is given, but pack 'Tug A' has 2 in series; allowed is 2"),
        ("packs", "Tug B,lipo", "Tug B,soap", 3, "chemistry", "'soap' is not known; allowed are lead, life"),
        (
            "vehicles",
            "Left Right",
            "Left Rigth",
            2,
            "controllers",
            "controller 'Rigth' is not known; known are 'Left', 'Right'; describe it",
        ),
        ("bench", "Left,2025-03-01T12:00:00Z,7.0", "Lefd,2025-03-01T12:00:00Z,7.0", 2, "controller", "'Lefd' is not known"),
    ],
)
def test_what_only_the_other_records_can_tell(
    services: Services, tmp_path: Path, kind: str, old: str, new: str, line: int, column: str, words: str
) -> None:
    assert old in FILES[kind]
    error = refusal(services, write(tmp_path / "in", **{**FILES, kind: FILES[kind].replace(old, new, 1)}))
    assert len(error.rows) == 1
    assert (Path(error.rows[0].file).name, error.rows[0].line, error.rows[0].column) == (f"{kind}.csv", line, column)
    assert words in error.rows[0].message
    assert services.packs.all(include_retired=True) == ()


def test_bad_rows_beyond_fifty_are_counted(services: Services, tmp_path: Path) -> None:
    rows = "".join(f"Nobody's,2025-05-01T10:{minute:02}Z,12\n" for minute in range(60))
    error = refusal(services, write(tmp_path / "in", runs=f"pack,started_at,run_min\n{rows}"))
    assert len(error.rows) == 50
    assert error.more == 10
    assert str(error).endswith("… and 10 more")


def test_a_vehicle_described_nowhere_is_stored_by_its_name_and_said_so(services: Services, tmp_path: Path) -> None:
    report = services.exchange.import_files(write(tmp_path / "in", packs="", runs=""))
    assert services.controllers.vehicles() == (Vehicle(name="Pond tug"),)
    [warning] = [words for words in report.warnings if "Pond tug" in words]
    assert "runs.csv:2: vehicle: vehicle 'Pond tug' is not known" in warning
    assert "2 more rows" in warning
    described = services.exchange.import_files(write(tmp_path / "later", vehicles="", controllers=""), update=True)
    assert described.updated == {**NOTHING, "vehicles": 1}
    assert services.controllers.vehicles()[0].controllers == ("Left", "Right")


def test_settings_that_do_not_match_the_vehicle_are_kept_and_said_so(services: Services, tmp_path: Path) -> None:
    runs = RUNS.replace("6.4 5.1", "6.4")
    report = services.exchange.import_files(write(tmp_path / "in", **{**FILES, "runs": runs}))
    assert any("cutoff_v: 1 number, but 'Pond tug' has 2 controllers; kept as written" in words for words in report.warnings)


def test_cells_in_series_cannot_change_under_readings_of_each_cell(filled: Services, tmp_path: Path) -> None:
    error = refusal(filled, write(tmp_path / "other", packs=PACKS.replace("Tug A,lipo,2", "Tug A,lipo,3")), update=True)
    assert [(row.line, row.column) for row in error.rows] == [(2, "series")]
    assert filled.packs.get("Tug A").series == 2


def test_a_changed_controller_makes_its_packs_stale(filled: Services, tmp_path: Path) -> None:
    filled.runs.refresh()
    controllers = FILES["controllers"].replace("5.1", "6.5")
    filled.exchange.import_files(write(tmp_path / "other", controllers=controllers), update=True)
    assert filled.runs.waiting() == 3
