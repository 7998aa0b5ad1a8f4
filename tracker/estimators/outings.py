"""Cutting a pack's history into outings: the runs between two charges, which share one charge count."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from statistics import median

from tracker.domain.pack import Pack
from tracker.domain.session import Charge, Run, Volts
from tracker.estimators.cell_family import CellFamily

LONGEST = 6
"""Runs on one charge; a longer row of runs without a charge written down is cut here."""
RISE_SOC = 0.15
"""A pack that comes back this much fuller than it was put away has been charged, written down or not."""
IDLE = timedelta(hours=6)
"""In a history without charges, a pack that rested this long is taken to have been charged before its next run."""


@dataclass(frozen=True, slots=True)
class Outing:
    """Runs on one charge, in time order, with the charges before and after where they are known."""

    pack: Pack
    runs: tuple[Run, ...]
    before: Charge | None
    after: Charge | None
    """Charges after the last run, joined into one."""
    joined: int = 0
    """How many charges were joined into `after`."""


def cut(pack: Pack, runs: Sequence[Run], charges: Sequence[Charge], cells: CellFamily) -> list[Outing]:
    """Cut a history into outings.

    Parameters
    ----------
    pack : Pack
        Whose history it is [1]
    runs, charges : Sequence
        In time order [1]
    cells : CellFamily
        The pack's chemistry made ready [1]

    Returns
    -------
    list[Outing]
        Every run is in exactly one, in time order [1]

    References
    ----------
    .. [1] No source: bookkeeping.
    """
    outings: list[Outing] = []
    group: list[Run] = []
    before: Charge | None = None
    pending: list[Charge] = []
    waiting = list(charges)
    place = 0

    def close() -> None:
        nonlocal group, before, pending
        if group:
            following = _until_full(pending)
            outings.append(Outing(pack, tuple(group), before, _joined(following), len(following)))
            before = None
        if pending:
            before = _joined(pending)
        group, pending = [], []

    for run in runs:
        while place < len(waiting) and waiting[place].finished_at <= run.started_at:
            pending.append(waiting[place])
            place += 1
        if pending or (group and (len(group) >= LONGEST or _charged_between(group[-1], run, bool(charges), cells, pack.series))):
            close()
        group.append(run)
    pending.extend(waiting[place:])
    close()
    return outings


def is_full(charge: Charge | None, pack: Pack, cells: CellFamily) -> bool:
    """Whether a charge filled the pack, as written down or as its end voltage shows.

    Parameters
    ----------
    charge : Charge or None
        The charge [1]
    pack : Pack
        The pack charged [1]
    cells : CellFamily
        Its chemistry made ready [1]

    Returns
    -------
    bool
        True where it can be taken as full [1]

    References
    ----------
    .. [1] Full-charge voltage of the chemistry file.
    """
    if charge is None:
        return False
    if charge.goal is not None:
        return charge.goal == "full"
    mean_v = cell_mean(charge.end_v, pack.series)
    if mean_v is None:
        return charge.put_back_ah is not None  # a charge written down with its count and nothing else is an ordinary one
    return cells.chemistry.looks_full(mean_v)


def cell_mean(volts: Volts, series: int) -> float | None:
    """Mean cell voltage of a reading.

    Parameters
    ----------
    volts : Volts
        One total or as many voltages as cells [V]
    series : int
        Cells in series [1]

    Returns
    -------
    float or None
        Mean of the cells; None when nothing was read [V]

    References
    ----------
    .. [1] Kirchhoff's voltage law.
    """
    return sum(volts) / series if volts else None


def _until_full(charges: Sequence[Charge]) -> Sequence[Charge]:
    """Charges up to the first that filled the pack: what was put back after that made up for something not written down."""
    for place, charge in enumerate(charges):
        if charge.goal == "full":
            return charges[: place + 1]
    return charges


def _joined(charges: Sequence[Charge]) -> Charge | None:
    """Several charges one after the other count as one: their counts add up, the last says where it ended."""
    if not charges:
        return None
    last = charges[-1]
    if len(charges) == 1:
        return last
    counts = [charge.put_back_ah for charge in charges]
    total = None if any(count is None for count in counts) else sum(count for count in counts if count is not None)
    return Charge(
        pack=last.pack,
        finished_at=last.finished_at,
        put_back_ah=total,
        end_v=last.end_v,
        goal=last.goal,
        cell_ohm=last.cell_ohm,
        pack_k=last.pack_k,
        notes=last.notes,
    )


def _charged_between(earlier: Run, later: Run, charges_kept: bool, cells: CellFamily, series: int) -> bool:
    """Whether a pack was charged between two runs although no charge was written down."""
    start = _middle_v(later.before_v, cells, series)
    end = _middle_v(earlier.after_v, cells, series)
    if start is not None and end is not None:
        return bool(cells.curve.soc(start) > cells.curve.soc(end) + RISE_SOC)
    if start is not None:
        return bool(cells.curve.soc(start) > 0.9)
    return not charges_kept and later.started_at - _ended(earlier) > IDLE


def _middle_v(volts: Volts, cells: CellFamily, series: int) -> float | None:
    """Voltage of an ordinary cell of a pack: one that was misread, or a total in its place, does not make the pack full or empty."""
    if len(volts) != series:
        return cell_mean(volts, series)
    return median(min(volt, cells.chemistry["full_v"]) for volt in volts)


def _ended(run: Run) -> datetime:
    return run.started_at + timedelta(seconds=run.run_s)
