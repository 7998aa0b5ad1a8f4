"""Recordings on the command line."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.tracker.cli.conftest import Command
from tests.tracker.made_up_traces import DIALECTS, drive, write


@pytest.fixture
def log(tmp_path: Path, run: Command) -> Path:
    (tmp_path / "packs.csv").write_text("pack,chemistry,series,capacity_mah\nTug 1,lipo,3,5000\n", "utf-8")
    assert run("import", str(tmp_path / "packs.csv")).status == 0
    return write(drive(minutes=1.0), DIALECTS[2], tmp_path / "log.csv")


def test_a_dry_run_says_what_was_found_out_and_stores_nothing(log: Path, run: Command) -> None:
    shown = run("import", str(log), "--dry-run")
    assert shown.status == 0
    for words in ("Nothing was stored", "Pack(mV)", "mV", "negative in the file", "1,700 over 2.8 min", "mAh", "cell 3"):
        assert words in shown.out
    assert json.loads(run("assess", "--json").out)["runs"] == []


def test_a_recording_is_evidence_of_the_kind_trace(log: Path, run: Command) -> None:
    kept = run("import", str(log), "--pack", "Tug 1", "--started-at", "2025-05-14T13:00Z")
    assert kept.status == 0
    assert "Kept with the run of 'Tug 1'" in kept.out
    [told] = json.loads(run("assess", "--json").out)["runs"]
    assert "trace" in {vote["kind"] for vote in told["evidence"]}


def test_columns_units_and_sign_can_be_said(log: Path, run: Command) -> None:
    columns = "time=Time(ms),volts=Pack(mV),amps=Current(mA),cell_1=Cell3(mV)"
    shown = run("import", str(log), "--dry-run", "--columns", columns, "--units", "amps=A", "--discharge", "positive")
    assert shown.status == 1
    assert "out of range" in shown.err
    shown = run("import", str(log), "--dry-run", "--columns", columns, "--discharge", "positive")
    assert shown.status == 0
    assert "cell 2" not in shown.out
    assert "looks like a charge" in " ".join(shown.out.split())


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ([], "pack: is missing"),
        (["--pack", "Tug 1"], "started_at: is missing"),
        (["--pack", "Tug 9", "--started-at", "2025-05-14T13:00Z"], "'Tug 9' is not known"),
        (["--pack", "Tug 1", "--started-at", "yesterday"], "started_at: 'yesterday' is not a time"),
        (["--columns", "volts"], "write it as"),
        (["--columns", "volts=nowhere"], "no line of the file has the columns named"),
        (["--pack", "Tug 1", "--json"], "leave --json out"),
    ],
)
def test_what_is_missing_or_wrong_is_refused(log: Path, run: Command, words: list[str], said: str) -> None:
    refused = run("import", str(log), *words)
    assert refused.status == 1
    assert said in refused.err
    assert json.loads(run("assess", "--json").out)["runs"] == []


def test_a_recording_removed_since_an_earlier_export_is_named(log: Path, run: Command, tmp_path: Path) -> None:
    out = tmp_path / "out"
    assert run("import", str(log), "--pack", "Tug 1", "--started-at", "2025-05-14T13:00Z").status == 0
    assert "left alone" not in run("export", str(out)).out
    (out / "trace_mine.csv").write_text("of somebody else\n", "utf-8")
    again = run("--database", f"sqlite:///{tmp_path}/another.sqlite3", "export", str(out))
    assert "trace_Tug-1_20250514T130000Z.csv" in again.out.split("left alone:")[1]
    assert "trace_mine" not in again.out
