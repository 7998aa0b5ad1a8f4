"""The JSON documents of the command line: the shapes other programs may rely on. Charge in mAh, numbers not rounded."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any

from tracker.domain.exchange import RowDifference
from tracker.domain.health import CellHealth, PackHealth
from tracker.domain.results import AssessedRun, CellDepth, Estimate, EvidenceVote, Finding, ImportReport, PackState, Quantity
from tracker.units import mah_from_ah, mohm_from_ohm

Document = dict[str, Any]


def print_document(document: Document) -> None:
    """Print one document, in letters every terminal and file can carry."""
    print(json.dumps(document, indent=2, allow_nan=False))


def assess_document(model: str, assessed: Sequence[AssessedRun], *, as_then: bool = False) -> Document:
    """Return what `assess --json` prints."""
    return {"model": model, "as_known": "then" if as_then else "now", "runs": [run_document(each) for each in assessed]}


def run_document(assessed: AssessedRun) -> Document:
    """Return one run with its estimate."""
    run, estimate = assessed.run, assessed.estimate
    return {
        "pack": run.pack,
        "started_at": _time(run.started_at),
        "vehicle": run.vehicle,
        **quantities_document({"used_mah": (estimate.used_ah, mah_from_ah)}),
        "evidence": [_evidence(vote) for vote in estimate.evidence],
        "cells": [_cell(cell) for cell in estimate.cells],
        "findings": [finding_document(finding) for finding in estimate.findings],
    }


def packs_document(states: Iterable[PackState]) -> Document:
    """Return what `packs --json` prints."""
    return {"packs": [_pack(state) for state in states]}


def health_document(model: str, packs: Iterable[PackHealth]) -> Document:
    """Return what `health --json` prints."""
    return {"model": model, "packs": [_health(pack) for pack in packs]}


def finding_document(finding: Finding) -> Document:
    """Return one finding."""
    return {
        "rule": finding.rule,
        "severity": finding.severity,
        "subject": finding.subject,
        "message": finding.message,
        "why": finding.why,
        "source": finding.source,
    }


def charge_document(pack: str, finished_at: datetime, findings: Iterable[Finding]) -> Document:
    """Return what `log charge --json` prints."""
    return {"pack": pack, "finished_at": _time(finished_at), "findings": [finding_document(finding) for finding in findings]}


def import_document(report: ImportReport) -> Document:
    """Return what `import --json` prints."""
    return {
        "added": dict(report.added),
        "updated": dict(report.updated),
        "unchanged": dict(report.unchanged),
        "warnings": list(report.warnings),
        "differences": [_difference(row) for row in report.differences],
        "dry_run": report.dry_run,
    }


def _difference(row: RowDifference) -> Document:
    fields = [{"column": field.column, "stored": field.stored, "given": field.given} for field in row.fields]
    at = None if row.at is None else row.at.isoformat()
    return {"kind": row.kind, "name": row.name, "at": at, "file": row.file, "line": row.line, "fields": fields}


def _pack(state: PackState) -> Document:
    quantities = {
        "soc": (state.soc, _as_is),
        "last_depth": (state.last_depth, _as_is),
        "capacity_mah": (state.capacity, mah_from_ah),
        "health": (state.health, _as_is),
    }
    return {
        "pack": state.pack,
        "chemistry": state.chemistry,
        "series": state.series,
        "rated_mah": mah_from_ah(state.capacity_ah),
        "state": state.state,
        "next": state.next,
        "runs": state.runs,
        "deep_runs": state.deep_runs,
        "last_used_at": None if state.last_used_at is None else _time(state.last_used_at),
        "last_grade": state.last_grade,
        "deepest_cell": state.deepest_cell,
        **quantities_document(quantities),
        "findings": [finding_document(finding) for finding in state.findings],
    }


def _health(pack: PackHealth) -> Document:
    outlook = pack.outlook
    quantities = {
        "capacity_mah": (pack.capacity_ah, mah_from_ah),
        "health": (pack.health, _as_is),
        "weakest_ratio": (pack.weakest_ratio, _as_is),
        "fade_percent_per_100_cycles": (outlook.fade_per_100_cycles, _percent),
        "runs_left": (outlook.runs_left, _as_is),
        "resistance_growth": (outlook.resistance_growth, _as_is),
    }
    return {
        "pack": pack.pack,
        "chemistry": pack.chemistry,
        "rated_mah": mah_from_ah(pack.rated_ah),
        "runs": pack.runs,
        "deep_runs": pack.deep_runs,
        **quantities_document(quantities),
        "cells": [_cell_health(cell) for cell in pack.cells],
        "weakest_cell": pack.weakest_cell,
        "restless_cells": list(pack.restless_cells),
        "equivalent_full_cycles": outlook.full_cycles,
        "weighted_cycles": outlook.weighted_cycles,
        "outlook": outlook.sentence,
        "next": pack.next,
        "findings": [finding_document(finding) for finding in pack.findings],
    }


def _cell_health(cell: CellHealth) -> Document:
    quantities = {
        "capacity_mah": (cell.capacity_ah, mah_from_ah),
        "resistance_mohm": (cell.resistance_ohm, mohm_from_ohm),
        "excess_loss_percent_per_month": (cell.excess_loss_per_month, _percent),
    }
    return {"cell": cell.cell, **quantities_document(quantities)}


def _evidence(vote: EvidenceVote) -> Document:
    return {
        "kind": vote.kind,
        **quantities_document({"used_mah": (vote.used_ah, mah_from_ah)}),
        "weight": vote.weight,
        "disagrees": vote.disagrees,
        "words": vote.words,
    }


def _cell(cell: CellDepth) -> Document:
    quantities = {
        "soc_before": (cell.soc_before, _as_is),
        "soc_after": (cell.soc_after, _as_is),
        "lowest_loaded_v": (cell.lowest_loaded_v, _as_is),
    }
    return {
        "cell": cell.cell,
        **quantities_document(quantities),
        "below_floor_probability": cell.below_floor_probability,
        "grade": cell.grade,
    }


def quantities_document(named: Mapping[str, tuple[Quantity, Callable[[float], float]]]) -> Document:
    """Return each quantity under its name, and beside them why those that are null are."""
    document: Document = {}
    reasons: list[str] = []
    for name, (quantity, convert) in named.items():
        if isinstance(quantity, Estimate):
            document[name] = {"value": convert(quantity.value), "low": convert(quantity.low), "high": convert(quantity.high)}
        else:
            document[name] = None
            reasons.append(quantity.why)
    if reasons:
        document["why"] = " ".join(dict.fromkeys(reasons))
    return document


def _percent(share: float) -> float:
    return 100.0 * share


def _as_is(value: float) -> float:
    return value


def _time(at: datetime) -> str:
    return at.isoformat()
