"""What each vehicle usually draws from a pack, learned from the runs that show it by other evidence."""

from __future__ import annotations

import math
from collections import defaultdict, deque
from collections.abc import Iterable, Sequence
from statistics import median

from tracker.domain.controller import Vehicle
from tracker.domain.session import Run
from tracker.estimators.outings import Outing
from tracker.estimators.readings import Draws, UsualDraw
from tracker.estimators.recorded import RecordedRun

TYPED_DRAW_RELATIVE_SD = 0.25
"""A vehicle's usual current as its owner typed it. From memory."""
ORDINARY_SPREAD, ORDINARY_RUNS = 0.30, 2.0
"""How far runs of a vehicle ordinarily lie from its usual current, and how many runs this counts for. From memory."""
LEARNED_DRAW_FLOOR_SD = 0.10
"""However alike the runs so far were, the next may differ this much. From memory."""
UNNAMED_FLOOR_SD = 0.15
"""Runs without a vehicle are taken for one and the same, but less surely so. From memory."""
RUNS_TO_LEARN_DRAW = 3
RUNS_TO_TRUST_DRAW, REGULAR_SPREAD = 5, 0.12
"""Beside voltages run time counts only where a vehicle has drawn so regularly in so many counted runs: an error of the usual
current is the same in every run, and would be taken for a change of the pack."""
REMEMBERED = 30
"""Runs of a vehicle that its usual draw is taken from: the latest, for gearing and tyres change."""
CLEAR = 0.15
"""A run teaches what its vehicle draws when its charge is known to within this, relative."""
CLEARLY_COUNTED = 0.06

DrawnCurrent = tuple[str | None, float, bool]
"""Vehicle, mean current of a run [A], and whether a count shows it."""


def typed_draws(vehicles: Iterable[Vehicle]) -> Draws:
    """Usual currents as owners typed them.

    Parameters
    ----------
    vehicles : Iterable[Vehicle]
        Vehicles, some with a usual current [1]

    Returns
    -------
    Draws
        Mean current and relative spread, by vehicle alone [A], [1]

    References
    ----------
    .. [1] No source: bookkeeping.
    """
    return {(None, vehicle.name): (vehicle.usual_a, TYPED_DRAW_RELATIVE_SD) for vehicle in vehicles if vehicle.usual_a is not None}


class UsualDraws:
    """What the vehicles run on one pack drew in their latest runs."""

    def __init__(self, currents: Iterable[DrawnCurrent] = ()) -> None:
        self._counted: dict[str | None, deque[float]] = defaultdict(lambda: deque(maxlen=REMEMBERED))
        self._shown: dict[str | None, deque[float]] = defaultdict(lambda: deque(maxlen=REMEMBERED))
        self._found: dict[tuple[str | None, bool], UsualDraw | None] = {}
        for current in currents:
            self.add(current)

    def add(self, current: DrawnCurrent) -> None:
        """Take in one run.

        Parameters
        ----------
        current : DrawnCurrent
            Vehicle, mean current and whether a count shows it [A]
        """
        vehicle, current_a, counted = current
        (self._counted if counted else self._shown)[vehicle].append(current_a)
        self._found.pop((vehicle, True), None)
        self._found.pop((vehicle, False), None)

    def of(self, outing: Outing) -> Draws:
        """Draws to estimate an outing with: where a count says what was taken, none; else by vehicle.

        Parameters
        ----------
        outing : Outing
            To be estimated [1]

        Returns
        -------
        Draws
            By pack and vehicle [A]
        """
        if _is_counted(outing):
            return {}
        found: Draws = {}
        for run in outing.runs:
            draw = self._draw(run.vehicle, beside=_shows_charge(run))
            if draw is not None:
                found[run.pack, run.vehicle] = draw
        return found

    def _draw(self, vehicle: str | None, *, beside: bool) -> UsualDraw | None:
        """What a vehicle usually draws, `beside` other evidence only where it is regular."""
        if (vehicle, beside) not in self._found:
            counted = self._counted[vehicle]
            draw = _usual(counted, vehicle)
            if beside:
                draw = draw if _is_regular(counted) else None
            elif draw is None:
                draw = _usual([*counted, *self._shown[vehicle]], vehicle)
            self._found[vehicle, beside] = draw
        return self._found[vehicle, beside]


def drawn(outing: Outing, charge_ah: Sequence[float], charge_sd_ah: Sequence[float]) -> list[DrawnCurrent]:
    """What the runs of an outing teach of their vehicles.

    Parameters
    ----------
    outing : Outing
        The runs [1]
    charge_ah, charge_sd_ah : Sequence[float]
        What each took, with its standard uncertainty [Ah]

    Returns
    -------
    list[DrawnCurrent]
        Of the runs whose charge is clear [A]

    References
    ----------
    .. [1] No source: bookkeeping.
    """
    counted = _is_counted(outing)
    found: list[DrawnCurrent] = []
    for run, taken_ah, sd_ah in zip(outing.runs, charge_ah, charge_sd_ah, strict=True):
        if taken_ah <= 0 or run.run_s <= 0:
            continue
        by_count = counted and sd_ah < CLEARLY_COUNTED * taken_ah
        if by_count or (sd_ah < CLEAR * taken_ah and _shows_charge(run)):
            found.append((run.vehicle, taken_ah * 3600.0 / run.run_s, by_count))
    return found


def _is_counted(outing: Outing) -> bool:
    return (outing.after is not None and outing.after.put_back_ah is not None) or all(_is_metered(run) for run in outing.runs)


def _is_metered(run: Run) -> bool:
    return run.used_ah is not None or (isinstance(run, RecordedRun) and run.recorded_ah is not None)


def _shows_charge(run: Run) -> bool:
    """Whether something other than the usual draw says what a run took."""
    return bool(run.after_v) or _is_metered(run) or run.mean_a is not None or bool(run.loaded_v)


def _is_regular(currents: Sequence[float] | deque[float]) -> bool:
    count = len(currents)
    if count < RUNS_TO_TRUST_DRAW:
        return False
    mean = sum(currents) / count
    return sum((current - mean) ** 2 for current in currents) < (count - 1) * (REGULAR_SPREAD * mean) ** 2


def _usual(currents: Sequence[float] | deque[float], vehicle: str | None) -> UsualDraw | None:
    if len(currents) < RUNS_TO_LEARN_DRAW:
        return None
    middle = median(currents)
    off = sum((current / middle - 1.0) ** 2 for current in currents)
    prior = 0.0 if len(currents) >= RUNS_TO_TRUST_DRAW else ORDINARY_RUNS
    spread = math.sqrt((prior * ORDINARY_SPREAD**2 + off) / (prior + len(currents) - 1.0))
    return middle, max(spread, UNNAMED_FLOOR_SD if vehicle is None else LEARNED_DRAW_FLOOR_SD)
