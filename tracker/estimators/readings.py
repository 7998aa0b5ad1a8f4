"""Outings of one shape laid out as arrays: what was read, NaN where nothing was."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tracker.domain.session import Charge, Volts
from tracker.estimators.cell_family import CellFamily
from tracker.estimators.outings import Outing, is_full
from tracker.estimators.recorded import RecordedRun
from tracker.units import STANDARD_TEMPERATURE_K

FloatArray = NDArray[np.float64]

LOWEST_CELL_V = {"lithium": 0.3, "nickel": 0.1, "lead": 0.3}
"""Below this a reading is taken as a slip of the pen and set aside. From memory: even ruined cells show more."""
OVER_FULL_V = 0.35
"""This far above full charge a reading is taken as a slip of the pen. Above full at all is a finding of its own."""
FULL_SD_SOC = {"lithium": 0.006, "nickel": 0.03, "lead": 0.02}
"""How far a pack that a charger called full is from what it was the time before: a constant-voltage end repeats well,
a voltage dip or a timer less so. From memory."""
UNKNOWN_START = (0.85, 0.30)
"""Mean and spread of the state of charge of a pack that is taken out to drive, when nothing else is known. From memory."""
UNKNOWN_END = (0.9, 0.3)
JOINED_SD = 0.03
"""A storage charge and a full one later put back more than the run took: each time cells are brought level, the fuller
ones are bled. Over rated; from memory."""
MOST_USED = 1.5
"""A meter's count of more than this times rated is a slip of the pen. Common practice."""
MOST_PUT_BACK = {"lithium": 1.30, "nickel": 1.6, "lead": 1.5}
"""A charger's count of more than this times rated is a slip of the pen: no pack takes up so much. From memory."""
MONTH_S = 30.0 * 86400.0


@dataclass(frozen=True, slots=True, eq=False)
class Readings:
    """What was read of N outings of m runs each on packs of n cells of one chemistry.

    Attributes
    ----------
    rated_ah : FloatArray
        Shape (N,) [Ah]
    before_v, after_v, loaded_v : FloatArray
        Shape (N, m, n) [V]
    before_mean_v, after_mean_v, loaded_mean_v : FloatArray
        Pack totals over the number of cells, shape (N, m) [V]
    rest_before_s, rest_after_s, run_s : FloatArray
        Shape (N, m) [s]
    loaded_a, mean_a, cutoff_v : FloatArray
        Shape (N, m); the cutoff as a mean cell voltage, only where it ended the run [A], [A], [V]
    meter_ah, usual_ah, usual_sd_ah : FloatArray
        Counted in the model; run time times usual draw and its spread, shape (N, m) [Ah]
    trace_ah, trace_sd_ah : FloatArray
        By a recording, and what gaps in it leave open, shape (N, m) [Ah]
    step_ohm, step_sd_ohm : FloatArray
        Resistance of each cell from steps of a recorded current, shape (N, m, n) [ohm]
    step_mean_ohm, step_mean_sd_ohm : FloatArray
        The same of the pack where cells were not recorded, over the number of cells, shape (N, m) [ohm]
    pack_k : FloatArray
        Shape (N, m) [K]
    start_soc, start_sd, end_soc, end_sd : FloatArray
        What is known of the state of charge after the charges before and after, shape (N,) [1]
    stood_months : FloatArray
        How long the pack stood between the charge before and its first run, 0 where unknown, shape (N,) [month]
    since_months : FloatArray
        From the start of the first run to that of each, shape (N, m) [month]
    put_back_ah, idle_soc, idle_months, joined_sd : FloatArray
        Charger count, charge lost by standing during the outing and how long that was, and what a count joined from several charges is unsure by
        besides, shape (N,) [Ah], [1], [month], [1]
    """

    rated_ah: FloatArray
    before_v: FloatArray
    after_v: FloatArray
    loaded_v: FloatArray
    before_mean_v: FloatArray
    after_mean_v: FloatArray
    loaded_mean_v: FloatArray
    rest_before_s: FloatArray
    rest_after_s: FloatArray
    run_s: FloatArray
    loaded_a: FloatArray
    mean_a: FloatArray
    cutoff_v: FloatArray
    meter_ah: FloatArray
    trace_ah: FloatArray
    trace_sd_ah: FloatArray
    step_ohm: FloatArray
    step_sd_ohm: FloatArray
    step_mean_ohm: FloatArray
    step_mean_sd_ohm: FloatArray
    usual_ah: FloatArray
    usual_sd_ah: FloatArray
    pack_k: FloatArray
    start_soc: FloatArray
    start_sd: FloatArray
    end_soc: FloatArray
    end_sd: FloatArray
    stood_months: FloatArray
    since_months: FloatArray
    put_back_ah: FloatArray
    idle_soc: FloatArray
    idle_months: FloatArray
    joined_sd: FloatArray


UsualDraw = tuple[float, float]
"""Mean current and its relative spread from run to run [A], [1]."""

Draws = dict[tuple[str | None, str | None], UsualDraw]
"""By pack and vehicle; without a pack where the owner typed it for all."""

Setting = tuple[str, float | None]
"""Cutoff mode and voltage of a controller [V]."""


def lay_out(
    outings: Sequence[Outing], cells: CellFamily, usual: Sequence[Draws], typed: Draws, trips: Mapping[str, tuple[Setting, ...]]
) -> Readings:  # fmt: skip
    """Lay outings of the same numbers of cells and runs out as arrays.

    Parameters
    ----------
    outings : Sequence[Outing]
        All with the same number of cells in series and of runs [1]
    cells : CellFamily
        Their chemistry made ready [1]
    usual : Sequence[Draws]
        What vehicles were learned to draw, for each outing [A]
    typed : Draws
        What their owners say they draw [A]
    trips : Mapping[str, tuple[Setting, ...]]
        Cutoff of each controller of a vehicle as it stands, by vehicle [V]

    Returns
    -------
    Readings
        Arrays with NaN where nothing was read [1]

    References
    ----------
    .. [1] No source: bookkeeping.
    """
    count, runs, n = len(outings), len(outings[0].runs), outings[0].pack.series
    per_cell = {name: np.full((count, runs, n), np.nan) for name in ("before", "after", "loaded")}
    total = {name: np.full((count, runs), np.nan) for name in ("before", "after", "loaded")}
    recorded = _recorded(outings)
    names = ("rest_before_s", "rest_after_s", "loaded_a", "mean_a", "meter", "usual", "usual_sd", "cutoff", "run_s", "since")
    scalar = {name: np.full((count, runs), np.nan) for name in names}
    pack_k = np.full((count, runs), STANDARD_TEMPERATURE_K)
    ends = np.empty((count, 4))
    rated, put_back, idle, stood = np.empty(count), np.full(count, np.nan), np.zeros(count), np.zeros(count)
    idle_months = np.zeros(count)
    for i, outing in enumerate(outings):
        rated[i] = outing.pack.capacity_ah
        for j, run in enumerate(outing.runs):
            for name, volts in (("before", run.before_v), ("after", run.after_v), ("loaded", run.loaded_v)):
                if volts:
                    _place(volts, cells, per_cell[name][i, j], total[name], (i, j))
            scalar["run_s"][i, j] = run.run_s
            scalar["since"][i, j] = (run.started_at - outing.runs[0].started_at).total_seconds() / MONTH_S
            for name, value in (
                ("rest_before_s", run.rest_before_s),
                ("rest_after_s", run.rest_after_s),
                ("loaded_a", run.loaded_a),
                ("mean_a", run.mean_a),
                ("meter", _possible(run.used_ah, MOST_USED * outing.pack.capacity_ah)),
                ("cutoff", trip_cell_v(run.ended_by, run.cutoff_v, trips.get(run.vehicle or "", ()), n, cells.chemistry["full_v"])),
            ):
                if value is not None:
                    scalar[name][i, j] = value
            draw = usual[i].get((run.pack, run.vehicle)) or typed.get((None, run.vehicle))
            if draw is not None:
                scalar["usual"][i, j] = draw[0] * run.run_s / 3600.0
                scalar["usual_sd"][i, j] = draw[1] * scalar["usual"][i, j]
            if run.pack_k is not None:
                pack_k[i, j] = run.pack_k
        ends[i, :2] = _start(outing, cells)
        if outing.before is not None:
            stood[i] = (outing.runs[0].started_at - outing.before.finished_at).total_seconds() / MONTH_S
        ends[i, 2:] = _end(outing.after, outing, cells)
        if outing.after is not None:
            most_ah = MOST_PUT_BACK[cells.chemistry.family] * rated[i] * max(1, outing.joined)
            if outing.after.put_back_ah is not None and 0 < outing.after.put_back_ah <= most_ah:
                put_back[i] = outing.after.put_back_ah
            idle_months[i] = (outing.after.finished_at - outing.runs[0].started_at).total_seconds() / MONTH_S
            idle[i] = min(0.5, cells.chemistry["self_discharge_per_month"] * idle_months[i])
    lowest, highest = LOWEST_CELL_V[cells.chemistry.family], cells.chemistry["full_v"] + OVER_FULL_V
    return Readings(
        rated_ah=rated,
        before_v=_plausible(per_cell["before"], lowest, highest),
        after_v=_plausible(per_cell["after"], lowest, highest),
        loaded_v=_plausible(per_cell["loaded"], 0.0, highest),
        before_mean_v=_plausible(total["before"], lowest, highest),
        after_mean_v=_plausible(total["after"], lowest, highest),
        loaded_mean_v=_plausible(total["loaded"], 0.0, highest),
        rest_before_s=scalar["rest_before_s"],
        rest_after_s=scalar["rest_after_s"],
        run_s=scalar["run_s"],
        loaded_a=scalar["loaded_a"],
        mean_a=scalar["mean_a"],
        cutoff_v=scalar["cutoff"],
        meter_ah=scalar["meter"],
        **recorded,
        usual_ah=scalar["usual"],
        usual_sd_ah=scalar["usual_sd"],
        pack_k=pack_k,
        start_soc=ends[:, 0],
        start_sd=ends[:, 1],
        end_soc=ends[:, 2],
        end_sd=ends[:, 3],
        stood_months=stood,
        since_months=scalar["since"],
        put_back_ah=put_back,
        idle_soc=idle,
        idle_months=idle_months,
        joined_sd=np.array([JOINED_SD if outing.joined > 1 else 0.0 for outing in outings]),
    )


def trip_cell_v(ended_by: str | None, as_driven: Sequence[float], settings: Sequence[Setting], series: int, full_v: float) -> float | None:
    """Mean cell voltage at which the last controller let go, when a cutoff ended the run.

    Parameters
    ----------
    ended_by : str or None
        What ended the run [1]
    as_driven : Sequence[float]
        Settings written down with the run, in the order of the controllers; empty when none were [V]
    settings : Sequence[Setting]
        Mode and voltage of each controller as it stands [V]
    series : int
        Cells in series [1]
    full_v : float
        Full-charge voltage of a cell [V]

    Returns
    -------
    float or None
        Lowest of the settings as a mean cell voltage; None when no cutoff ended the run or none is known [V]

    References
    ----------
    .. [1] The last controller to let go is the one that ends the discharge.
    """
    if ended_by != "cutoff":
        return None
    if as_driven and len(as_driven) != len(settings):
        settings = [("unknown", None)] * len(as_driven)
    found: list[float] = []
    for place, (mode, standing_v) in enumerate(settings):
        volts = as_driven[place] if as_driven else standing_v
        if volts is None or volts <= 0 or (mode == "none" and not as_driven):
            continue
        # Of a setting nobody said the kind of: one no higher than a full cell can only be meant for one cell.
        for_a_cell = mode == "cell_v" or (mode != "pack_v" and volts <= full_v)
        found.append(volts if for_a_cell else volts / series)
    return min(found) if found else None


def _recorded(outings: Sequence[Outing]) -> dict[str, FloatArray]:
    """What recordings of the runs add, NaN for runs without one."""
    count, runs, n = len(outings), len(outings[0].runs), outings[0].pack.series
    pairs = ("trace_ah", "trace_sd_ah", "step_mean_ohm", "step_mean_sd_ohm")
    found = {name: np.full((count, runs), np.nan) for name in pairs}
    found |= {name: np.full((count, runs, n), np.nan) for name in ("step_ohm", "step_sd_ohm")}
    for i, outing in enumerate(outings):
        for j, run in enumerate(outing.runs):
            if not isinstance(run, RecordedRun):
                continue
            counted = _possible(run.recorded_ah, MOST_USED * outing.pack.capacity_ah)
            if counted is not None:
                found["trace_ah"][i, j], found["trace_sd_ah"][i, j] = counted, run.recorded_sd_ah
            if len(run.step_ohm) == n:
                found["step_ohm"][i, j], found["step_sd_ohm"][i, j] = run.step_ohm, run.step_sd_ohm
            elif run.step_ohm:
                found["step_mean_ohm"][i, j], found["step_mean_sd_ohm"][i, j] = run.step_ohm[0] / n, run.step_sd_ohm[0] / n
    return found


def _place(volts: Volts, cells: CellFamily, each: FloatArray, totals: FloatArray, at: tuple[int, int]) -> None:
    if len(volts) == len(each):
        each[:] = volts
    elif len(volts) == 1 and not cells.chemistry.is_one_cells_voltage(volts[0], len(each)):
        totals[at] = volts[0] / len(each)


def _possible(count_ah: float | None, most_ah: float) -> float | None:
    return count_ah if count_ah is not None and count_ah <= most_ah else None


def _plausible(volts: FloatArray, lowest: float, highest: float) -> FloatArray:
    with np.errstate(invalid="ignore"):
        return np.where((volts >= lowest) & (volts <= highest), volts, np.nan)


def _start(outing: Outing, cells: CellFamily) -> tuple[float, float]:
    if outing.before is None:
        return UNKNOWN_START
    soc, sd = _end(outing.before, outing, cells)
    standing_s = (outing.runs[0].started_at - outing.before.finished_at).total_seconds()
    lost = min(0.5, cells.chemistry["self_discharge_per_month"] * standing_s / MONTH_S)
    return soc - lost, float(np.hypot(sd, 0.5 * lost))


def _end(charge: Charge | None, outing: Outing, cells: CellFamily) -> tuple[float, float]:
    if charge is None:
        return UNKNOWN_END
    if is_full(charge, outing.pack, cells):
        return 1.0, FULL_SD_SOC[cells.chemistry.family]
    if charge.goal == "storage":
        low, high = cells.curve.soc([cells.chemistry["storage_low_v"], cells.chemistry["storage_high_v"]])
        return float(low + high) / 2.0, max(0.12, float(high - low) / 2.0)
    if charge.end_v:
        return float(cells.curve.soc(sum(charge.end_v) / outing.pack.series)), 0.12
    return UNKNOWN_END
