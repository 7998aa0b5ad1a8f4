"""A pack as it stands now: how full, how deep it went last, and what to do with it next."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from tracker.chemistry import Chemistry
from tracker.domain.conventions import CAPACITY_SURENESS, SPENT_HEALTH, STANDING_FULL
from tracker.domain.harm import OUT_OF_USE, TO_BE_CHECKED
from tracker.domain.pack import Pack
from tracker.domain.results import GRADES, AssessedRun, CellDepth, Estimate, Finding, NotEnough, PackState, Quantity
from tracker.estimators.cell_family import family
from tracker.estimators.charge_now import LastEvent, charge_now, last_event
from tracker.estimators.history import PackHistory
from tracker.physics.uncertainty import probability_below

COOLING = timedelta(minutes=15)
"""A pack rests this long after a run before it is charged. Common practice."""
WARM_K = 318.15
"""A pack that came back warmer than 45 °C rests longer. Common practice."""
WARM_COOLING = timedelta(hours=1)
STANDING_LOW = timedelta(days=14)
"""A lithium pack not used for so long belongs at storage voltage. Common practice."""
HIGH_SOC = 0.8
"""Above this a lithium cell ages fast while it stands: Werner, Paarmann, Wetzel, Batteries 7 (2021) 28, doi:10.3390/batteries7020028."""
READY_SOC = 0.9
STORED_SOC = 0.3
"""Least charge a lithium pack is put away with. Common practice."""
TOP_UP_SOC = 0.95
"""Below this a lead battery that stands is charged again: lead is stored full. Common practice."""

NO_CAPACITY = NotEnough("No capacity learned yet")

_SET_ASIDE = {
    "lithium": "Do not charge or use it. Put it where it could burn without harm and take it to a battery recycling point; "
    "the maker's instructions and local rules come first.",
    "nickel": "Do not charge or use it. Ask its maker, or take it to a battery recycling point.",
    "lead": "Do not charge or use it. Ask its maker, or take it to a battery recycling point.",
}
_CHECK = {
    "lithium": "Do not charge or use it yet: let it rest for an hour where it could burn without harm, look for swelling, smell or heat, "
    "measure every cell, and then go by the maker's instructions.",
    "nickel": "Let it rest and measure it before anything else, and then go by the maker's instructions.",
    "lead": "Let it rest and measure it before anything else, and then go by the maker's instructions.",
}


@dataclass(frozen=True, slots=True)
class _Standing:
    """What the word for a pack is decided from."""

    pack: Pack
    chemistry: Chemistry
    event: LastEvent | None
    idle: timedelta
    soc: Quantity
    ever_damaging: bool
    findings: tuple[Finding, ...]
    health: Quantity


def pack_state(
    history: PackHistory,
    assessed: Sequence[AssessedRun],
    findings: Sequence[Finding],
    now: datetime,
    capacity: Quantity = NO_CAPACITY,
) -> PackState:
    """One pack as it stands now, and what to do with it next.

    Parameters
    ----------
    history : PackHistory
        The pack, its runs and its charges, in time order [1]
    assessed : Sequence[AssessedRun]
        Its runs with their estimates, in time order [1]
    findings : Sequence[Finding]
        What the rules found; those whose subject is this pack decide about harm [1]
    now : datetime
        When it is asked, aware [1]
    capacity : Quantity, optional
        Its capacity now, where it has been learned [Ah]

    Returns
    -------
    PackState
        Word, next step, charge, and depth of the last run [1]

    Notes
    -----
    Harm goes before everything else: a pack that may be harmed is never said to be ready and never to be charged.

    References
    ----------
    .. [1] Limits and their sources are beside the constants above.
    """
    pack, last = history.pack, assessed[-1] if assessed else None
    event = last_event(history, assessed)
    soc = charge_now(history, assessed, now)
    idle = timedelta() if event is None else max(now - event.ended_at, timedelta())
    health = _health(pack, capacity)
    ever_damaging = any(_worst_grade(each) == "damaging" for each in assessed)
    standing = _Standing(pack, family(pack.chemistry).chemistry, event, idle, soc, ever_damaging, tuple(findings), health)
    word, to_do = _word(standing)
    deepest = None if last is None else _deepest(last)
    return PackState(
        pack=pack.name,
        chemistry=pack.chemistry,
        series=pack.series,
        capacity_ah=pack.capacity_ah,
        state=word,
        next=to_do,
        soc=soc,
        runs=len(history.runs),
        deep_runs=sum(_worst_grade(each) in ("damaging", "deep") for each in assessed),
        last_used_at=history.runs[-1].started_at if history.runs else None,
        last_depth=_depth(deepest, last),
        last_grade=None if last is None else _worst_grade(last),
        deepest_cell=None if deepest is None else deepest.cell,
        capacity=capacity,
        health=health,
        findings=tuple(findings),
    )


def _word(standing: _Standing) -> tuple[str, str]:
    pack = standing.pack
    if any(finding.rule in OUT_OF_USE for finding in _stops(standing)):
        return "retire", _SET_ASIDE[standing.chemistry.family]
    if pack.retired_on is not None:
        return "retire", f"Out of use since {pack.retired_on.isoformat()}; take it to a battery recycling point if that is not done yet."
    if _to_be_checked(standing):
        return "rest", _CHECK[standing.chemistry.family]
    health = standing.health
    if isinstance(health, Estimate) and probability_below(SPENT_HEALTH, health.value, health.sd) >= CAPACITY_SURENESS:
        return (
            "retire",
            f"It holds {_percent(health.value)} of its rated capacity: take it out of use and to a battery recycling point.",
        )
    if standing.event is None:
        return "unknown", "Nothing is known of it yet: measure every cell, and write down its next charge and run."
    if _cooling(standing):
        return "rest", "Let it rest and cool down before it is charged: 15 min, or an hour when it came back warm."
    if isinstance(standing.soc, NotEnough):
        return "unknown", f"{standing.soc.why}: measure every cell before it is charged or used."
    word, to_do = _by_charge(standing, standing.soc.value)
    return word, to_do + _past_harm(standing)


def _by_charge(standing: _Standing, soc: float) -> tuple[str, str]:
    if standing.chemistry.family == "lithium":
        return _lithium_by_charge(standing, soc)
    if standing.chemistry.family == "lead" and soc < TOP_UP_SOC:
        return "charge", f"Charge it soon: about {_percent(soc)} left, and lead is harmed by standing less than full."
    if soc >= READY_SOC:
        return "ready", "Ready to use."
    return "charge", f"Charge it before use: about {_percent(soc)} left."


def _lithium_by_charge(standing: _Standing, soc: float) -> tuple[str, str]:
    window = f"{standing.chemistry['storage_low_v']:.2f} to {standing.chemistry['storage_high_v']:.2f} V a cell"
    if soc > HIGH_SOC and standing.idle > STANDING_FULL:
        return (
            "store",
            f"Standing {_percent(soc)} full for {_days(standing.idle)} days: use it now or bring it to storage voltage, {window}.",
        )
    charge = None if standing.event is None else standing.event.charge
    if charge is not None and charge.goal == "storage" and soc >= STORED_SOC:
        return "store", "Stored as it should be. Charge it on the day it is used."
    if standing.idle > STANDING_LOW and soc >= STORED_SOC:
        return "store", f"Not used for {_days(standing.idle)} days: keep it at storage voltage, {window}."
    if standing.idle > STANDING_LOW:
        low = f"{standing.chemistry['no_recharge_v']:.2f} V"
        return (
            "store",
            f"Not used for {_days(standing.idle)} days and low: measure every cell. At {low} or less do not charge it; else bring it to {window}.",
        )
    if soc >= READY_SOC:
        return "ready", "Ready to use."
    return "charge", f"Charge it before use: about {_percent(soc)} left."


def _stops(standing: _Standing) -> list[Finding]:
    return [finding for finding in standing.findings if finding.severity == "stop" and finding.subject == standing.pack.name]


def _to_be_checked(standing: _Standing) -> bool:
    """Whether harm was found in what happened last; once it was charged or run again its past harm is still told, see `_past_harm`."""
    event = standing.event
    if event is None:
        return False
    if event.run is not None and _worst_grade(event.run) == "damaging":
        return True
    times = {event.run.run.started_at if event.run is not None else event.ended_at, None}
    return any(finding.rule in TO_BE_CHECKED and finding.at in times for finding in _stops(standing))


def _past_harm(standing: _Standing) -> str:
    if not standing.ever_damaging and not any(finding.rule in TO_BE_CHECKED for finding in _stops(standing)):
        return ""
    return " It may have been harmed earlier: watch it for swelling and heat, and do not leave it alone while it charges."


def _cooling(standing: _Standing) -> bool:
    run = None if standing.event is None or standing.event.run is None else standing.event.run.run
    if run is None:
        return False
    warm = run.pack_k is not None and run.pack_k > WARM_K
    return standing.idle < (WARM_COOLING if warm else COOLING)


def _worst_grade(assessed: AssessedRun) -> str | None:
    grades = [cell.grade for cell in assessed.estimate.cells if cell.grade is not None]
    return min(grades, key=GRADES.index, default=None)


def _deepest(assessed: AssessedRun) -> CellDepth | None:
    told = [(cell.soc_after.value, cell) for cell in assessed.estimate.cells if isinstance(cell.soc_after, Estimate)]
    return min(told, key=lambda pair: pair[0])[1] if told else None


def _depth(cell: CellDepth | None, last: AssessedRun | None) -> Quantity:
    if last is None:
        return NotEnough("No run was written down")
    if cell is None or not isinstance(cell.soc_after, Estimate):
        return NotEnough("The last run's readings do not tell how deep it went")
    left = cell.soc_after
    return Estimate(value=1 - left.value, low=1 - left.high, high=1 - left.low, sd=left.sd)


def _health(pack: Pack, capacity: Quantity) -> Quantity:
    if isinstance(capacity, NotEnough):
        return capacity
    rated = pack.capacity_ah
    return Estimate(value=capacity.value / rated, low=capacity.low / rated, high=capacity.high / rated, sd=capacity.sd / rated)


def _days(time: timedelta) -> int:
    # Rounded as the findings beside it round, so that both name the same number.
    return round(time / timedelta(days=1))


def _percent(share: float) -> str:
    return f"{100 * min(max(share, 0.0), 1.0):.0f} %"
