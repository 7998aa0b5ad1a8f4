"""The JSON documents about controllers: bench tests and moved trip points. Volts and ohms, numbers not rounded."""

from __future__ import annotations

from collections.abc import Iterable

from tracker.cli.documents import Document, finding_document, quantities_document
from tracker.domain.bench import BenchResult
from tracker.domain.divider import DividerPlan, PartChoice, PlaceOption, TripLimits
from tracker.domain.planning import CutoffPlan
from tracker.domain.results import NotEnough
from tracker.units import celsius_from_kelvin, mah_from_ah


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


def cutoff_document(plan: CutoffPlan) -> Document:
    """Return what `cutoff --json` prints."""
    choice, together = plan.recommended, plan.together
    return {
        "pack": plan.task.pack,
        "vehicle": plan.task.vehicle,
        "floor_v": plan.floor_v,
        "wanted_risk": plan.task.risk,
        "pack_c": celsius_from_kelvin(plan.task.pack_k),
        "recommended": None
        if choice is None
        else {
            "pack_v": choice.pack_v,
            "cell_v": choice.cell_v,
            "below_floor_probability": choice.below_floor_probability,
            **quantities_document({"usable_mah": (choice.usable_ah, mah_from_ah), "run_min": (choice.run_s, _minutes)}),
        },
        "why": plan.reason,
        "timer_min": None if isinstance(plan.timer_s, NotEnough) else _minutes(plan.timer_s.value),
        "timer_why": plan.timer_s.why if isinstance(plan.timer_s, NotEnough) else None,
        "present": [
            {
                "controller": one.controller,
                **quantities_document({"trip_v": (one.trip_v, _as_is)}),
                "bench_tested": one.tested,
                "protects": one.protects,
                "below_floor_probability": one.below_floor_probability,
                "verdict": one.verdict,
            }
            for one in plan.present
        ],
        "together": None
        if together is None
        else {
            "below_floor_probability": together.below_floor_probability,
            "driven_on_probability": together.driven_on_probability,
            **quantities_document(
                {"after_first_mah": (together.after_first_ah, mah_from_ah), "hours_to_floor": (together.hours_to_floor, _as_is)}
            ),
        },
        "curve": [
            {
                "pack_v": point.pack_v,
                "below_floor_probability": point.below_floor_probability,
                "usable_mah": mah_from_ah(point.usable_ah),
                "run_min": _minutes(point.run_s),
            }
            for point in plan.curve
        ],
        "load": {
            **quantities_document({"mean_a": (plan.load.mean_a, _as_is), "burst_a": (plan.load.burst_a, _as_is)}),
            "basis": plan.load.basis,
            "guessed": plan.load.guessed,
        },
        "pack_learned": plan.learned,
        "draws": plan.draws,
        "findings": [finding_document(finding) for finding in plan.findings],
    }


def divider_document(plan: DividerPlan) -> Document:
    """Return what `divider --json` prints."""
    document = {
        "add": plan.add,
        "ideal_ohm": plan.ideal_ohm,
        "chosen_ohm": None if plan.chosen is None else plan.chosen.added_ohm,
        "trip_v": plan.trip_v,
        "worst_case_v": [plan.as_designed.worst_low_v, plan.as_designed.worst_high_v],
        "interval_95_v": [plan.as_designed.low_95_v, plan.as_designed.high_95_v],
        "rss_v": plan.as_designed.rss_v,
        "rss_percent": None if plan.as_designed.rss_v is None else 100.0 * plan.as_designed.rss_v / plan.trip_v,
        "power_mw": _milli(plan.power_w),
        "most_power_mw": _milli(plan.most_power_w),
        "choices": [_choice(choice) for choice in plan.choices],
        "not_below": None if plan.not_below is None else _choice(plan.not_below),
        "reference_v": plan.reference_v,
        "ideal_ratio": plan.ideal_ratio,
        "as_tested": _limits(plan.as_tested),
        "temperature": {"change_k": plan.drift.change_k, "worst_v": plan.drift.worst_v, "rss_v": plan.drift.rss_v},
        "places": [_place(option) for option in plan.places],
        "cautions": list(plan.cautions),
    }
    if plan.chosen is None:
        document["why"] = (
            "The trip is where it is wanted." if plan.add == "none" else "Only the ratio of the parts is known; measure one of them."
        )
    return document


def _limits(limits: TripLimits) -> Document:
    return {"worst_case_v": [limits.worst_low_v, limits.worst_high_v], "interval_95_v": [limits.low_95_v, limits.high_95_v]}


def _place(option: PlaceOption) -> Document:
    return {
        "place": option.place,
        "works": not option.why_not,
        "ideal_ohm": option.ideal_ohm,
        "ideal_ratio": option.ideal_ratio,
        "chosen_ohm": None if option.chosen is None else option.chosen.added_ohm,
        "trip_v": None if option.chosen is None else option.chosen.trip_v,
        "cuts_trace": option.cuts_trace,
        "why_not": option.why_not or None,
    }


def _choice(choice: PartChoice) -> Document:
    return {"ohm": choice.added_ohm, "trip_v": choice.trip_v}


def _milli(value: float | None) -> float | None:
    return None if value is None else 1000.0 * value


def _as_is(value: float) -> float:
    return value


def _minutes(seconds: float) -> float:
    return seconds / 60.0
