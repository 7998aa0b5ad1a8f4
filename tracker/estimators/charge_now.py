"""How full a pack is now: where its last run or charge left it, less what it lost by itself since."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from math import hypot, sqrt

from tracker.domain.results import AssessedRun, Estimate, NotEnough, Quantity
from tracker.domain.session import Charge
from tracker.estimators.cell_family import CellFamily, family
from tracker.estimators.history import PackHistory
from tracker.estimators.intervals import estimate
from tracker.estimators.outings import cell_mean, is_full

MONTH = timedelta(days=365.25 / 12)
FULL_SD = 0.02
"""How far from full a charge to full leaves a pack. From memory."""
CHARGED_SD = 0.05
"""What a charge in part is off by, whose end was read while still on the charger. From memory."""
SELF_DISCHARGE_SD = 0.5
"""Relative spread of self-discharge where the chemistry gives none. From memory."""


@dataclass(frozen=True, slots=True)
class LastEvent:
    """What a pack saw last: a run or a charge, and when it ended."""

    ended_at: datetime
    run: AssessedRun | None = None
    charge: Charge | None = None


def last_event(history: PackHistory, assessed: Sequence[AssessedRun]) -> LastEvent | None:
    """What happened to a pack last.

    Parameters
    ----------
    history : PackHistory
        The pack's diary [1]
    assessed : Sequence[AssessedRun]
        Its runs with their estimates, in time order [1]

    Returns
    -------
    LastEvent or None
        The run or the charge that ended last; None when there is neither [1]

    References
    ----------
    .. [1] No source: bookkeeping.
    """
    events = [LastEvent(charge.finished_at, charge=charge) for charge in history.charges[-1:]]
    events += [LastEvent(ended(each), run=each) for each in assessed[-1:]]
    return max(events, key=lambda event: event.ended_at, default=None)


def ended(assessed: AssessedRun) -> datetime:
    """End of a run.

    Parameters
    ----------
    assessed : AssessedRun
        The run [1]

    Returns
    -------
    datetime
        Aware, UTC [1]

    References
    ----------
    .. [1] No source: bookkeeping.
    """
    return assessed.run.started_at + timedelta(seconds=assessed.run.run_s)


def charge_now(history: PackHistory, assessed: Sequence[AssessedRun], now: datetime) -> Quantity:
    """Mean state of charge of a pack's cells at a time after everything in its diary.

    Parameters
    ----------
    history : PackHistory
        The pack's diary [1]
    assessed : Sequence[AssessedRun]
        Its runs with their estimates, in time order [1]
    now : datetime
        When it is asked [1]

    Returns
    -------
    Quantity
        State of charge, or in words why it cannot be said [1]

    Notes
    -----
    ``soc(t) = soc(0) (1 - d)^t`` with d the self-discharge a month and t in months.

    References
    ----------
    .. [1] Self-discharge and its source are in the chemistry file.
    """
    event = last_event(history, assessed)
    if event is None:
        return NotEnough("No run and no charge was written down")
    cells = family(history.pack.chemistry)
    then = _mean_left(event.run) if event.charge is None else _after_charge(history, assessed, event.charge, cells)
    return then if isinstance(then, NotEnough) else _aged(then, max(now - event.ended_at, timedelta()), cells)


def _share(value: float, sd: float) -> Estimate:
    return estimate(value, sd, low=0.0, high=1.0)


def _mean_left(last: AssessedRun | None) -> Quantity:
    left = [] if last is None else [cell.soc_after for cell in last.estimate.cells]
    known = [each for each in left if isinstance(each, Estimate)]
    if not known or len(known) < len(left):
        return NotEnough("The last run's readings do not tell what it left")
    # The cells of a pack share the charge taken and the curve, so their errors go together and do not average out.
    return _share(sum(each.value for each in known) / len(known), sum(each.sd for each in known) / len(known))


def _after_charge(history: PackHistory, assessed: Sequence[AssessedRun], charge: Charge, cells: CellFamily) -> Quantity:
    pack, facts = history.pack, cells.chemistry
    if is_full(charge, pack, cells):
        return _share(1.0, FULL_SD)
    spread = facts["curve_spread_soc"]
    if charge.goal == "storage":
        low, high = float(cells.curve.soc(facts["storage_low_v"])), float(cells.curve.soc(facts["storage_high_v"]))
        return _share((low + high) / 2, hypot((high - low) / 2 / sqrt(3), spread))
    mean_v = cell_mean(charge.end_v, pack.series)
    if mean_v is not None and facts.family == "lithium":
        return _share(float(cells.curve.soc(mean_v)), hypot(spread, CHARGED_SD))
    return _counted_up(history, assessed, charge, cells)


def _counted_up(history: PackHistory, assessed: Sequence[AssessedRun], charge: Charge, cells: CellFamily) -> Quantity:
    """What the last run left and the charger put on top, when nothing else was charged in between."""
    why = NotEnough("The last charge was a partial one, and how far it went was not written down")
    if charge.put_back_ah is None or not assessed:
        return why
    between = [each for each in history.charges if ended(assessed[-1]) <= each.finished_at < charge.finished_at]
    left = _mean_left(assessed[-1])
    if between or isinstance(left, NotEnough):
        return why
    put_back = charge.put_back_ah * cells.chemistry["charge_acceptance"] / history.pack.capacity_ah
    return _share(left.value + put_back, hypot(left.sd, CHARGED_SD))


def _aged(then: Estimate, waited: timedelta, cells: CellFamily) -> Estimate:
    months = waited / MONTH
    loss = cells.chemistry["self_discharge_per_month"]
    kept = (1.0 - loss) ** months
    slope = months * (1.0 - loss) ** (months - 1.0) if months > 0 else 0.0
    return _share(
        then.value * kept, hypot(then.sd * kept, then.value * slope * cells.sd_of("self_discharge_per_month", SELF_DISCHARGE_SD * loss))
    )
