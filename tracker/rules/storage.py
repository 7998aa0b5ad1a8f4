"""Packs that rested too low to be charged again, stood full for days, or were left empty."""

from __future__ import annotations

from datetime import datetime, timedelta

from tracker.domain.conventions import STANDING_FULL
from tracker.domain.harm import DO_NOT_RECHARGE
from tracker.domain.results import AssessedRun, Estimate, Finding
from tracker.rules import wording
from tracker.rules.evidence import PackEvidence, RunEvidence
from tracker.rules.voltages import RESTED_S, CellVoltage, filled, lowest, rest_before_s

LEFT_EMPTY = timedelta(days=1)
"""Longer than this no pack should lie in its reserve. Common practice."""
_FULL_AGES = "Werner, Paarmann, Wetzel, Batteries 7 (2021) 28, doi:10.3390/batteries7020028"
_COPPER = "Hendricks et al., J. Electrochem. Soc. 167 (2020), doi:10.1149/1945-7111/ab697a"


def do_not_recharge(evidence: RunEvidence) -> Finding | None:
    """Some cell rested below the voltage under which it must not be charged again."""
    run, pack, limit = evidence.run, evidence.pack, evidence.chemistry["no_recharge_v"]
    rested_s = rest_before_s(run, evidence.charge_before)
    readings = (
        ("before the run", lowest(run.before_v, pack), rested_s),
        ("after the run", lowest(run.after_v, pack), run.rest_after_s),
    )
    under = [(when, cell, rest_s) for when, cell, rest_s in readings if cell is not None and cell.voltage_v < limit]
    if not under:
        return None
    # Not knowing how long it rested is no reason to let it be charged; only a reading known to be early may still recover.
    early = all(rest_s is not None and rest_s < RESTED_S for _, _, rest_s in under)
    when, cell, _ = under[-1]
    return Finding(
        rule=DO_NOT_RECHARGE,
        severity="caution" if early else "stop",
        subject=pack.name,
        message=_low_words(evidence, when, cell, early),
        why=(
            "The copper inside a lithium cell left this low can dissolve and short it when it is charged again; such cells burn. "
            if _lithium(evidence)
            else ""
        )
        + wording.standing_of(evidence.chemistry, "no_recharge_v"),
        source=_COPPER if _lithium(evidence) else wording.source_of(evidence.chemistry, "no_recharge_v"),
        at=run.started_at,
    )


def standing_full(evidence: PackEvidence) -> Finding | None:
    """A lithium pack was filled more than three days ago and not used since."""
    if evidence.now is None or evidence.chemistry.family != "lithium" or not evidence.charges or evidence.pack.retired_on is not None:
        return None
    last = evidence.charges[-1]
    used_since = any(each.run.started_at >= last.finished_at for each in evidence.runs)
    stood = evidence.now - last.finished_at
    if used_since or stood <= STANDING_FULL or not filled(last, evidence.pack, evidence.chemistry):
        return None
    low, high = (wording.volts(evidence.chemistry[name]) for name in ("storage_low_v", "storage_high_v"))
    return Finding(
        rule="standing-full",
        severity="caution",
        subject=evidence.pack.name,
        message=f"{evidence.pack.name} has stood full for {wording.span(stood)}. Use it, or bring it to storage voltage, {low} to {high} a cell.",
        why="A full lithium cell ages much faster than one below 80 %. How many days are too many is common practice.",
        source=_FULL_AGES,
        at=last.finished_at,
    )


def stood_full(evidence: PackEvidence) -> Finding | None:
    """A lithium pack has often been left full for days before it was used."""
    if evidence.chemistry.family != "lithium":
        return None
    times = [stood for stood in _waits(evidence) if stood > STANDING_FULL]
    if len(times) < 3:
        return None
    return Finding(
        rule="stood-full",
        severity="note",
        subject=evidence.pack.name,
        message=f"{evidence.pack.name} stood full for more than {wording.span(STANDING_FULL)} {len(times)} times, "
        f"{wording.span(max(times))} at the longest. Charge it on the day it is used.",
        why="A full lithium cell ages much faster than one below 80 %. How many days are too many is common practice.",
        source=_FULL_AGES,
    )


def left_empty(evidence: PackEvidence) -> Finding | None:
    """A pack was run into its reserve and has not been charged since yesterday or longer."""
    if evidence.now is None or not evidence.runs or evidence.pack.retired_on is not None:
        return None
    last = evidence.runs[-1]
    ended = last.run.started_at + timedelta(seconds=last.run.run_s)
    charged = any(charge.finished_at > last.run.started_at for charge in evidence.charges)
    least = _least_left(last)
    if charged or least is None or least >= evidence.chemistry["reserve_soc"] or evidence.now - ended <= LEFT_EMPTY:
        return None
    if any(cell.grade == "damaging" for cell in last.estimate.cells) or _rested_too_low(evidence, last):
        return None  # what to do with a pack that may be harmed is said by the rules that found the harm
    lithium = evidence.chemistry.family == "lithium"
    target = (
        f"Measure every cell, and bring it to storage voltage, {wording.volts(evidence.chemistry['storage_low_v'])} to "
        f"{wording.volts(evidence.chemistry['storage_high_v'])} a cell, as its maker says. A cell that rests below "
        f"{wording.volts(evidence.chemistry['no_recharge_v'])} is not to be charged."
        if lithium
        else "Charge it as its maker says."
    )
    return Finding(
        rule="left-empty",
        severity="caution",
        subject=evidence.pack.name,
        message=f"{evidence.pack.name} has lain for {wording.span(evidence.now - ended)} with about {wording.percent(least)} left in its lowest "
        f"cell. {target}",
        why="A nearly empty cell discharges itself further while it lies, under the voltage it can stand. Common practice.",
        source=_COPPER if lithium else None,
        at=last.run.started_at,
    )


def _lithium(evidence: RunEvidence) -> bool:
    return evidence.chemistry.family == "lithium"


def _low_words(evidence: RunEvidence, when: str, cell: CellVoltage, early: bool) -> str:
    limit = wording.volts(evidence.chemistry["no_recharge_v"])
    found = f"{cell.name} stood at {wording.volts(cell.voltage_v)} {when}, below the {limit} under which it must not be charged again."
    if early:
        return f"{found} It was read within 5 min: measure again after an hour, in a safe place, and do not charge it before."
    if not _lithium(evidence):
        return f"{found} Do not put it on the charger: ask its maker, or take it to a battery recycling point."
    return f"{found} Do not charge it. Take it out of use. {wording.SET_ASIDE} If the number was mistyped, correct the run."


def _waits(evidence: PackEvidence) -> list[timedelta]:
    """How long each full charge stood before what came next, a run or another charge."""
    nexts: list[datetime] = sorted([each.run.started_at for each in evidence.runs] + [charge.finished_at for charge in evidence.charges])
    waits = []
    for charge in evidence.charges:
        after = next((time for time in nexts if time > charge.finished_at), None)
        if after is not None and filled(charge, evidence.pack, evidence.chemistry):
            waits.append(after - charge.finished_at)
    return waits


def _least_left(assessed: AssessedRun) -> float | None:
    left = [cell.soc_after.value for cell in assessed.estimate.cells if isinstance(cell.soc_after, Estimate)]
    return min(left, default=None)


def _rested_too_low(evidence: PackEvidence, last: AssessedRun) -> bool:
    cell = lowest(last.run.after_v, evidence.pack)
    return cell is not None and cell.voltage_v < evidence.chemistry["no_recharge_v"]
