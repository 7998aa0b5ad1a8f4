"""Every command as a person uses it."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from tests.tracker.cli.conftest import Command
from tests.tracker.small_logbook import RUNS, write


def test_import_says_what_it_brought(run: Command, at_home: Path) -> None:
    write(at_home / "in")
    said = run("import", "in")
    assert said.status == 0
    lines = [line.split() for line in said.out.splitlines()]
    assert ["kind", "added", "replaced", "unchanged"] in lines
    assert ["runs", "4", "0", "0"] in lines
    assert "4 runs assessed" in said.out
    assert ["runs", "0", "0", "4"] in [line.split() for line in run("import", "in").out.splitlines()]


def test_a_refused_import_lists_every_bad_row(filled: Command, at_home: Path) -> None:
    write(at_home / "other", runs=RUNS.replace("4.18 4.17", "4.18 4.17 4.16").replace("4.19 4.19", "4.19 4.19 4.19"))
    said = filled("import", "other")
    assert said.status == 1
    assert said.out == ""
    assert "runs.csv:2: before_v: 3 numbers" in said.err
    assert "runs.csv:4: before_v: 3 numbers" in said.err


def test_import_update_and_dry_run(filled: Command, at_home: Path) -> None:
    write(at_home / "other", runs=RUNS.replace(",2800,", ",2900,"))
    assert filled("import", "other").status == 1
    said = filled("import", "other", "--update", "--dry-run")
    assert said.out.startswith("Nothing was stored")
    assert filled("import", "other").status == 1
    assert filled("import", "other", "--update").status == 0
    assert filled("import", "other").status == 0


def test_a_file_that_is_not_there_is_refused(run: Command) -> None:
    said = run("import", "nowhere.csv")
    assert said.status == 1
    assert "nowhere.csv" in said.err


def test_assess_shows_each_run_with_interval_depth_and_grade(filled: Command) -> None:
    said = filled("assess")
    assert said.status == 0
    assert said.out.count("±") >= 4
    assert {"Groomer", "Tug A", "Tug B"} <= set(said.out.splitlines())
    assert "2025-04-05" in said.out
    assert max(map(len, said.out.splitlines())) <= 80


def test_assess_of_a_pack_that_is_not_stored(filled: Command) -> None:
    said = filled("assess", "--pack", "Tug Z")
    assert (said.status, said.out) == (1, "")
    assert "Tug Z" in said.err


def test_health_shows_a_block_a_pack(filled: Command) -> None:
    said = filled("health")
    assert said.status == 0
    assert [line for line in said.out.splitlines() if line in {"Groomer", "Tug A", "Tug B"}] == ["Groomer", "Tug A", "Tug B"]
    assert max(map(len, said.out.splitlines())) <= 80
    assert "Old one" not in said.out
    assert "Old one" in filled("health", "--pack", "Old one").out


def test_health_of_a_pack_that_is_not_stored(filled: Command) -> None:
    said = filled("health", "--pack", "Tug Z")
    assert (said.status, said.out) == (1, "")
    assert "Tug Z" in said.err


def test_packs_shows_the_box(filled: Command) -> None:
    said = filled("packs")
    assert said.status == 0
    assert "Tug A" in said.out
    assert "Old one" not in said.out
    assert "Old one" in filled("packs", "--retired").out


def test_empty_answers_offer_a_first_step(run: Command) -> None:
    assert "pack-tracker import" in run("packs").out
    assert "pack-tracker import" in run("assess").out
    assert "pack-tracker import" in run("health").out


def test_log_run_shows_the_estimate(filled: Command) -> None:
    said = filled(
        "log", "run", "--pack", "Tug A", "--vehicle", "Pond tug", "--run-min", "14,5", "--before-v", "4,18 4,17", "--after-v", "3,75 3,7"
    )
    assert said.status == 0
    assert "Written down: run of Tug A" in said.out
    assert "± " in said.out
    assert "grade" in said.out
    assert len(filled("assess", "--pack", "Tug A", "--json").document()["runs"]) == 3


def test_a_run_without_a_time_has_just_ended(filled: Command) -> None:
    logged = filled("log", "run", "--pack", "Tug A", "--run-min", "30", "--rest-after-min", "15", "--after-v", "7.6", "--json").document()
    started_at = datetime.fromisoformat(logged["runs"][0]["started_at"])
    assert abs(datetime.now(UTC) - started_at - timedelta(minutes=45)) < timedelta(minutes=1)


def test_a_preview_is_not_stored(filled: Command) -> None:
    said = filled("log", "run", "--pack", "Tug A", "--run-min", "14", "--after-v", "7.5", "--preview")
    assert said.out.startswith("Not written down")
    assert len(filled("assess", "--pack", "Tug A", "--json").document()["runs"]) == 2


def test_log_names_the_options_at_fault(filled: Command) -> None:
    said = filled("log", "run", "--pack", "Tug A", "--run-min", "long", "--after-v", "7.5 x")
    assert (said.status, said.out) == (1, "")
    assert "--run-min: " in said.err
    assert "--after-v: " in said.err
    said = filled("log", "run", "--pack", "Tug A", "--run-min", "12", "--after-v", "3.7 3.7 3.7")
    assert "--after-v: 3 numbers" in said.err
    said = filled("log", "charge", "--pack", "Tug A", "--goal", "brim")
    assert "--goal: " in said.err


def test_a_vehicle_is_new_only_when_said_so(filled: Command) -> None:
    argv = ["log", "run", "--pack", "Tug A", "--vehicle", "Barge", "--run-min", "12"]
    said = filled(*argv)
    assert said.status == 1
    assert "--new-vehicle" in said.err
    assert filled(*argv, "--new-vehicle").status == 0
    assert filled("log", "run", "--pack", "Tug A", "--run-min", "12", "--new-vehicle").status == 1


def test_log_charge_and_replace(filled: Command) -> None:
    argv = ["log", "charge", "--pack", "Tug A", "--finished-at", "2025-04-12T20:00Z", "--put-back-mah"]
    assert filled(*argv, "4100").out.startswith("Written down: charge of Tug A")
    assert filled(*argv, "4200").status == 1
    assert filled(*argv, "4200", "--replace").status == 0


def test_a_cold_pack_may_be_written_with_a_comma(filled: Command) -> None:
    assert filled("log", "run", "--pack", "Tug A", "--run-min", "12", "--pack-c", "-5,5").status == 0
    assert filled("log", "charge", "--pack", "Tug A", "--pack-c", "-5.5").status == 0


def test_export_backup_restore(filled: Command, at_home: Path) -> None:
    before = filled("assess", "--json").document()
    assert "runs.csv" in filled("export", "out").out
    assert filled("backup", "copy.sqlite3").status == 0
    other = ["--database", "sqlite:///other.sqlite3"]
    assert filled(*other, "import", "out").status == 0
    assert filled(*other, "assess", "--json").document() == before
    third = ["--database", "sqlite:///third.sqlite3"]
    assert filled(*third, "restore", "copy.sqlite3").status == 0
    assert filled(*third, "assess", "--json").document() == before
    (at_home / "rubbish").write_text("no backup")
    said = filled(*third, "restore", "rubbish")
    assert said.status == 1
    assert filled(*third, "assess", "--json").document() == before


@pytest.mark.parametrize("name", ["\x1b[31mred\x1b[0m", "=1+1", "<b>bold</b>", "電池", "a" * 150, "'; drop table pack; --", "--help"])
def test_hostile_names_stay_text(run: Command, at_home: Path, name: str) -> None:
    quoted = name.replace('"', '""')
    (at_home / "packs.csv").write_text(f'pack,chemistry,series,capacity_mah\n"{quoted}",lipo,2,5000\n', "utf-8")
    stored = run("import", "packs.csv")
    if stored.status == 1:  # a name with control characters is refused, and shown harmlessly
        assert "\x1b" not in stored.err
        return
    assert run("log", "run", f"--pack={name}", "--run-min", "12", "--after-v", "7.4").status == 0
    for argv in (["packs"], ["assess"], ["health"], ["assess", f"--pack={name}"], ["health", f"--pack={name}"]):
        said = run(*argv)
        assert said.status == 0
        assert name in said.out.replace("\n", " ").replace("  ", " ")
