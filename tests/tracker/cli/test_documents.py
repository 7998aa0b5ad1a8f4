"""The JSON documents: their shape is relied on by other programs."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.tracker.cli.conftest import Command
from tracker.cli.documents import assess_document
from tracker.domain.results import AssessedRun, CellDepth, Estimate, EvidenceVote, Finding, NotEnough, RunEstimate
from tracker.domain.session import Run

EVIDENCE = {"kind", "used_mah", "weight", "disagrees"}
CELL = {"cell", "soc_before", "soc_after", "lowest_loaded_v", "below_floor_probability", "grade"}
FINDING = {"rule", "severity", "subject", "message", "why", "source"}
RUN = {"pack", "started_at", "vehicle", "used_mah", "evidence", "cells", "findings"}
HEALTH = {
    "pack",
    "chemistry",
    "runs",
    "capacity_mah",
    "health",
    "cells",
    "equivalent_full_cycles",
    "deep_runs",
    "weakest_cell",
    "next",
    "findings",
}
QUANTITIES = {
    "used_mah",
    "soc_before",
    "soc_after",
    "lowest_loaded_v",
    "soc",
    "last_depth",
    "capacity_mah",
    "health",
    "resistance_mohm",
    "excess_loss_percent_per_month",
    "weakest_ratio",
    "fade_percent_per_100_cycles",
    "runs_left",
    "resistance_growth",
}


def check_quantities(part: Any) -> None:
    """Every quantity is a value with its interval, or null with a reason beside it."""
    if isinstance(part, list):
        for each in part:
            check_quantities(each)
    if not isinstance(part, dict):
        return
    for name, value in part.items():
        if name in QUANTITIES and value is None:
            assert part["why"]
        elif name in QUANTITIES:
            assert set(value) == {"value", "low", "high"}
            assert value["low"] <= value["value"] <= value["high"]
        else:
            check_quantities(value)


def test_assess(filled: Command) -> None:
    document = filled("assess", "--json").document()
    assert set(document) == {"model", "as_known", "runs"}
    assert document["as_known"] == "now"
    assert len(document["runs"]) == 4
    check_quantities(document)
    for run in document["runs"]:
        assert set(run) >= RUN
        assert datetime.fromisoformat(run["started_at"]).tzinfo is not None
        for vote in run["evidence"]:
            assert set(vote) >= EVIDENCE
            assert 0 <= vote["weight"] <= 1
        for cell in run["cells"]:
            assert set(cell) >= CELL
            assert cell["grade"] in {"fine", "low", "deep", "damaging", None}
        for finding in run["findings"]:
            assert set(finding) == FINDING
    assert [run["pack"] for run in filled("assess", "--pack", "Tug B", "--json").document()["runs"]] == ["Tug B"]
    assert filled("assess", "--all", "--json").document() == document


def test_packs(filled: Command) -> None:
    document = filled("packs", "--json").document()
    check_quantities(document)
    assert [pack["pack"] for pack in document["packs"]] == ["Groomer", "Tug A", "Tug B"]
    assert document["packs"][1]["rated_mah"] == 5000
    assert len(filled("packs", "--retired", "--json").document()["packs"]) == 4


def test_assess_as_then(filled: Command) -> None:
    """The last run of a pack knows nothing that came later, so both ways say the same of it."""
    now, then = (filled("assess", "--pack", "Tug A", "--json", *options).document() for options in ((), ("--as-then",)))
    assert then["as_known"] == "then"
    assert [run["started_at"] for run in then["runs"]] == [run["started_at"] for run in now["runs"]]
    assert then["runs"][-1]["used_mah"]["value"] == pytest.approx(now["runs"][-1]["used_mah"]["value"], rel=1e-6)


def test_health(filled: Command) -> None:
    document = filled("health", "--json").document()
    assert set(document) == {"model", "packs"}
    assert document["model"] == filled("assess", "--json").document()["model"]
    assert [pack["pack"] for pack in document["packs"]] == ["Groomer", "Tug A", "Tug B"]
    check_quantities(document)
    runs = filled("assess", "--json").document()["runs"]
    for pack in document["packs"]:
        assert set(pack) >= HEALTH
        assert [cell["cell"] for cell in pack["cells"]] == list(range(1, len(pack["cells"]) + 1))
        assert pack["runs"] == sum(run["pack"] == pack["pack"] for run in runs)
        assert pack["next"]
        for finding in pack["findings"]:
            assert set(finding) == FINDING
    [tug] = filled("health", "--pack", "Tug A", "--json").document()["packs"]
    assert tug == document["packs"][1]
    [retired] = filled("health", "--pack", "Old one", "--json").document()["packs"]
    assert retired["pack"] == "Old one"


def test_an_empty_database_gives_empty_documents(run: Command) -> None:
    assert run("packs", "--json").document() == {"packs": []}
    assert run("health", "--json").document()["packs"] == []
    assert run("assess", "--json").document()["runs"] == []


def test_import_and_log(filled: Command) -> None:
    report = filled("import", "small", "--dry-run", "--json").document()
    assert report["unchanged"]["runs"] == 4
    assert report["dry_run"] is True
    logged = filled("log", "run", "--pack", "Tug A", "--run-min", "12", "--after-v", "7.5", "--json").document()
    assert len(logged["runs"]) == 1
    assert set(filled("log", "charge", "--pack", "Tug A", "--goal", "full", "--json").document()) == {"pack", "finished_at", "findings"}


def test_a_null_has_its_reason_beside_it_and_numbers_are_not_rounded() -> None:
    third = Estimate(value=1 / 3, low=0.1, high=0.7, sd=0.2)
    cell = CellDepth(
        cell=1,
        soc_before=NotEnough("no reading before"),
        soc_after=third,
        lowest_loaded_v=NotEnough("no current known"),
        below_floor_probability=None,
        below_reserve_probability=None,
        below_half_reserve_probability=None,
        grade=None,
    )
    vote = EvidenceVote(kind="meter", used_ah=NotEnough("not counted"), weight=0.0, disagrees=False)
    finding = Finding(rule="r", severity="note", subject="Tug A", message="m", why="w")
    estimate = RunEstimate(model="1", used_ah=NotEnough("nothing was written down"), evidence=(vote,), cells=(cell,), findings=(finding,))
    run = Run(pack="Tug A", started_at=datetime(2025, 4, 5, 10, tzinfo=UTC), run_s=600)
    [document] = assess_document("1", [AssessedRun(run=run, estimate=estimate)])["runs"]
    assert (document["used_mah"], document["why"]) == (None, "nothing was written down")
    assert (document["evidence"][0]["used_mah"], document["evidence"][0]["why"]) == (None, "not counted")
    shown = document["cells"][0]
    assert shown["why"] == "no reading before no current known"
    assert shown["soc_after"] == {"value": 1 / 3, "low": 0.1, "high": 0.7}
    assert document["findings"] == [{"rule": "r", "severity": "note", "subject": "Tug A", "message": "m", "why": "w", "source": None}]
    assert document["started_at"] == "2025-04-05T10:00:00+00:00"


@given(name=st.text(min_size=1), used_ah=st.floats(allow_nan=False, allow_infinity=False, min_value=-1e6, max_value=1e6))
def test_any_name_and_number_comes_back(name: str, used_ah: float) -> None:
    used = Estimate(value=used_ah, low=used_ah, high=used_ah, sd=0.0)
    run = Run(pack=name, started_at=datetime(2025, 4, 5, tzinfo=UTC), run_s=600)
    given_run = AssessedRun(run=run, estimate=RunEstimate(model="1", used_ah=used, evidence=(), cells=()))
    back = json.loads(json.dumps(assess_document("1", [given_run]), allow_nan=False))
    assert back["runs"][0]["pack"] == name
    assert back["runs"][0]["used_mah"]["value"] == used_ah * 1000
