"""Warning rules: each looks at one run, one charge, one pack or one controller on the bench and says what a person should know of it.

A rule is a function of its evidence that returns a finding, None, or several findings. To add one, write it in the
file of its topic and name it in the tuple here.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from typing import TypeVar

from tracker.domain.results import Finding
from tracker.rules import ageing, bench, charging, cutoff_margin, depth, load, readings, storage
from tracker.rules.evidence import BenchEvidence, ChargeEvidence, PackEvidence, RunEvidence

Answer = Finding | Iterable[Finding] | None
RunRule = Callable[[RunEvidence], Answer]
ChargeRule = Callable[[ChargeEvidence], Answer]
PackRule = Callable[[PackEvidence], Answer]
BenchRule = Callable[[BenchEvidence], Answer]

RUN_RULES: tuple[RunRule, ...] = (
    storage.do_not_recharge,
    depth.too_deep,
    depth.into_the_reserve,
    cutoff_margin.cutoff_under_floor,
    cutoff_margin.no_cutoff,
    readings.reading_impossible,
    readings.readings_disagree,
    readings.cell_spread,
    readings.read_too_soon,
    load.over_current,
    load.run_outside_window,
)
CHARGE_RULES: tuple[ChargeRule, ...] = (
    charging.charged_below_limit,
    charging.over_charge_limit,
    charging.charged_cold,
    charging.charged_hot,
    charging.uneven_when_charged,
)
PACK_RULES: tuple[PackRule, ...] = (
    storage.standing_full,
    storage.left_empty,
    storage.stood_full,
    ageing.restless_cell,
    ageing.weakest_cell,
    ageing.spent,
    ageing.worn,
    ageing.resistance_doubled,
)
BENCH_RULES: tuple[BenchRule, ...] = (
    bench.never_trips,
    bench.trips_under_floor,
    bench.other_lets_go_lower,
    bench.off_its_setting,
    bench.moved_since,
    bench.wanders,
    bench.chatters,
    bench.runs_again,
    bench.latches,
    bench.loosely_known,
)

_Evidence = TypeVar("_Evidence")


def run_findings(evidence: RunEvidence) -> tuple[Finding, ...]:
    """Return what one run gives cause to say."""
    return tuple(_all(RUN_RULES, evidence))


def charge_findings(evidence: ChargeEvidence) -> tuple[Finding, ...]:
    """Return what one charge gives cause to say."""
    return tuple(_all(CHARGE_RULES, evidence))


def pack_findings(evidence: PackEvidence) -> tuple[Finding, ...]:
    """Return what a pack's whole diary gives cause to say."""
    return tuple(_all(PACK_RULES, evidence))


def bench_findings(evidence: BenchEvidence) -> tuple[Finding, ...]:
    """Return what a bench test of one controller gives cause to say."""
    return tuple(_all(BENCH_RULES, evidence))


def _all(rules: Iterable[Callable[[_Evidence], Answer]], evidence: _Evidence) -> Iterator[Finding]:
    for rule in rules:
        answer = rule(evidence)
        if isinstance(answer, Finding):
            yield answer
        elif answer is not None:
            yield from answer
