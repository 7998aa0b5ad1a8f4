"""Gathering evidence for the rules, and choosing which of their findings matter now."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime

from tracker import chemistry
from tracker.chemistry import Chemistry
from tracker.domain.controller import Controller, Vehicle
from tracker.domain.harm import OUT_OF_USE, TO_BE_CHECKED
from tracker.domain.health import PackHealth
from tracker.domain.results import AssessedRun, Finding
from tracker.domain.session import Charge, Run, Volts
from tracker.estimators.history import PackHistory
from tracker.rules import charge_findings, pack_findings, run_findings
from tracker.rules.evidence import ChargeEvidence, PackEvidence, RunEvidence
from tracker.rules.voltages import RESTED_S

HARM = OUT_OF_USE | TO_BE_CHECKED


def judge_runs(
    history: PackHistory, assessed: Sequence[AssessedRun], vehicles: Mapping[str, Vehicle], controllers: Mapping[str, Controller]
) -> tuple[AssessedRun, ...]:
    """Return assessed runs with what the rules find in each."""
    kind = chemistry.load(history.pack.chemistry)
    carried = {name: tuple(controllers[each] for each in vehicle.controllers) for name, vehicle in vehicles.items()}
    charges = _charges_before(history)
    judged = []
    for each in assessed:
        evidence = RunEvidence(
            pack=history.pack,
            chemistry=kind,
            run=each.run,
            estimate=each.estimate,
            controllers=carried.get(each.run.vehicle or "", ()),
            charge_before=charges.get(each.run.started_at),
        )
        judged.append(AssessedRun(run=each.run, estimate=replace(each.estimate, findings=run_findings(evidence))))
    return tuple(judged)


def judge_past(history: PackHistory, judged: Sequence[AssessedRun], health: PackHealth) -> tuple[Finding, ...]:
    """Return what a pack's whole diary gives cause to say, whenever it is asked: its charges, its habits, and every harm."""
    kind = chemistry.load(history.pack.chemistry)
    harm = [finding for each in judged for finding in each.estimate.findings if _is_harm(finding)]
    charges = [
        finding
        for charge, rested_v in _rested_before(history)
        for finding in charge_findings(ChargeEvidence(pack=history.pack, chemistry=kind, charge=charge, rested_before_v=rested_v))
    ]
    return tuple(dict.fromkeys([*harm, *charges, *_of_pack(history, judged, kind, None, health)]))


def judge_now(history: PackHistory, judged: Sequence[AssessedRun], now: datetime) -> tuple[Finding, ...]:
    """Return what is only found by looking at the clock, as a pack that stands full; the end of the diary is enough for it."""
    kind = chemistry.load(history.pack.chemistry)
    past = set(_of_pack(history, judged, kind, None))
    return tuple(finding for finding in _of_pack(history, judged, kind, now) if finding not in past)


def of_concern(history: PackHistory, findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Return the findings that still matter: of the last run and charge, of the pack as such, and what takes it out of use for good."""
    last = [run.started_at for run in history.runs[-1:]] + [charge.finished_at for charge in history.charges[-1:]]
    since = min(last, default=None)
    return tuple(
        finding
        for finding in dict.fromkeys(findings)
        if finding.at is None or since is None or finding.at >= since or (_is_harm(finding) and finding.rule in OUT_OF_USE)
    )


def _is_harm(finding: Finding) -> bool:
    return finding.severity == "stop" and finding.rule in HARM


def _of_pack(
    history: PackHistory, judged: Sequence[AssessedRun], kind: Chemistry, now: datetime | None, health: PackHealth | None = None
) -> tuple[Finding, ...]:
    evidence = PackEvidence(pack=history.pack, chemistry=kind, runs=tuple(judged), charges=history.charges, now=now, health=health)
    return pack_findings(evidence)


def _charges_before(history: PackHistory) -> dict[datetime, Charge]:
    """Return the charge each run started on, for runs that were the first on their charge: only those tell how long the pack rested."""
    finished = [charge.finished_at for charge in history.charges]
    found: dict[datetime, Charge] = {}
    before = 0
    for run in history.runs:
        count = bisect_right(finished, run.started_at)
        if count > before:
            found[run.started_at] = history.charges[count - 1]
        before = count
    return found


def _rested_before(history: PackHistory) -> list[tuple[Charge, Volts]]:
    """Return each charge with the last reading of the pack at rest since the charge before it."""
    started = [run.started_at for run in history.runs]
    found: list[tuple[Charge, Volts]] = []
    first = 0
    for charge in history.charges:
        last = bisect_right(started, charge.finished_at)
        rested = [run.after_v for run in history.runs[first:last] if _was_rested(run)]
        found.append((charge, rested[-1] if rested else ()))
        first = last
    return found


def _was_rested(run: Run) -> bool:
    # A reading known to be early may still recover; one of which nobody wrote how early it was must not make a low cell look safe.
    return bool(run.after_v) and (run.rest_after_s is None or run.rest_after_s >= RESTED_S)
