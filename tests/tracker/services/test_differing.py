"""What a trial import tells of rows that differ from what is stored: field by field, under the names people know."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest

from tests.tracker.small_logbook import BENCH, PACKS, RUNS, write
from tracker.domain.exchange import FieldDifference, RowDifference
from tracker.errors import ImportRefusedError
from tracker.services import Services


def trial(services: Services, folder: Path, **files: str) -> tuple[RowDifference, ...]:
    return services.exchange.import_files(write(folder, **files), update=True, dry_run=True).differences


def test_every_field_that_differs_is_told_as_a_file_would_write_it(filled: Services, tmp_path: Path) -> None:
    changed = RUNS.replace(",2800,", ",2950.5,").replace("12,60,4.19 4.19", "12.5,60,4.19 4.18")
    [row] = trial(filled, tmp_path / "other", runs=changed)
    assert (row.kind, row.name, row.at, row.line) == ("runs", "Tug B", datetime(2025, 4, 5, 11, 0, tzinfo=UTC), 4)
    assert row.fields == (
        FieldDifference(column="run_min", stored="12", given="12.5"),
        FieldDifference(column="before_v", stored="4.19 4.19", given="4.19 4.18"),
        FieldDifference(column="used_mah", stored="2800", given="2950.5"),
    )


def test_a_field_that_is_emptied_or_filled_is_told_as_empty(filled: Services, tmp_path: Path) -> None:
    rows = trial(filled, tmp_path / "other", packs=PACKS.replace("swollen", "").replace("3700,,,,", "3700,20,,,"))
    assert [[(one.column, one.stored, one.given) for one in row.fields] for row in rows] == [
        [("continuous_c", "", "20")],
        [("notes", "swollen", "")],
    ]
    assert rows[0].at is None


@pytest.mark.parametrize(
    ("bench", "given"),
    [
        (BENCH.replace(":00Z,6.4", ":00Z,6.5"), "3 readings, number 2 at 6.5 V stopped"),
        (BENCH + "Left,2025-03-01T12:00:00Z,7.1,running\n", "4 readings, number 4 at 7.1 V running"),
    ],
)
def test_a_bench_test_tells_of_its_first_other_reading(filled: Services, tmp_path: Path, bench: str, given: str) -> None:
    [row] = trial(filled, tmp_path / "other", bench=bench)
    assert [(one.column, one.given) for one in row.fields] == [("supply_v", given)]
    assert row.fields[0].stored.startswith("3 readings")


def test_beyond_fifty_rows_the_rest_are_counted(services: Services, tmp_path: Path) -> None:
    rows = [f"Tug A,2025-06-{day:02}T10:{minute:02}Z" for day in range(1, 4) for minute in range(20)]
    head = "pack,started_at,run_min\n"
    services.exchange.import_files(write(tmp_path / "in", packs="", runs=head + "".join(f"{row},12\n" for row in rows)))
    paths = write(tmp_path / "again", runs=head + "".join(f"{row},13\n" for row in rows))
    report = services.exchange.import_files(paths, update=True, dry_run=True)
    assert len(report.differences) == 50
    assert report.updated["runs"] == 60
    assert services.exchange.import_files(paths, update=True).updated["runs"] == 60


def test_files_are_called_as_their_owner_calls_them(services: Services, tmp_path: Path) -> None:
    """A file that waits under another name is named in refusals and warnings as it was called where it came from."""
    path = tmp_path / "1.csv"
    path.write_text("pack,started_at,run_min,colour\nNobody,2025-06-01T10:00Z,12,red\n", "utf-8")
    with pytest.raises(ImportRefusedError) as caught:
        services.exchange.import_files([path], names={path: "my runs.csv"})
    assert [(row.file, row.line, row.column) for row in caught.value.rows] == [("my runs.csv", 2, "pack")]
    paths = write(tmp_path / "in", packs="")
    path.write_text("pack,started_at,run_min,colour\nTug A,2025-06-01T10:00Z,12,red\n", "utf-8")
    report = services.exchange.import_files([*paths, path], names={path: "my runs.csv"})
    assert [words.split(":")[0] for words in report.warnings] == ["my runs.csv"]
