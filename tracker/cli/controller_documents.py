"""The JSON documents about controllers: bench tests and moved trip points. Volts and ohms, numbers not rounded."""

from __future__ import annotations

from collections.abc import Iterable

from tracker.cli.documents import Document, finding_document, quantities_document
from tracker.domain.bench import BenchResult


def bench_document(results: Iterable[BenchResult], warnings: Iterable[str] = ()) -> Document:
    """Return what `bench --json` prints."""
    return {"controllers": [_bench(result) for result in results], "warnings": list(warnings)}


def _bench(result: BenchResult) -> Document:
    quantities = {
        "trip_v": (result.trip_v, _as_is),
        "restart_v": (result.restart_v, _as_is),
        "hysteresis_v": (result.hysteresis_v, _as_is),
        "drift_v": (result.drift_v, _as_is),
    }
    return {
        "controller": result.controller,
        "tested_at": None if result.tested_at is None else result.tested_at.isoformat(),
        **quantities_document(quantities),
        "trips": result.trips,
        "restarts": result.restarts,
        "spread_v": result.spread_v,
        "stays_off": result.latches,
        "restless_sweeps": result.restless,
        "step_v": result.step_v,
        "uncertainty_v": {part.cause: part.sd_v for part in result.budget},
        "crossings": [
            {"kind": "trip" if each.trip else "restart", "low_v": each.low_v, "high_v": each.high_v} for each in result.crossings
        ],
        "earlier": [
            {"tested_at": each.tested_at.isoformat(), **quantities_document({"trip_v": (each.trip_v, _as_is)})} for each in result.earlier
        ],
        "findings": [finding_document(finding) for finding in result.findings],
    }


def _as_is(value: float) -> float:
    return value
