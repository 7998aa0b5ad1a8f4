"""How many cells a controller counts that tells them from the voltage when it is switched on: too few where the pack is not full."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from tracker.estimators.drawn_packs import normal_draws
from tracker.physics.cell_circuit import settled_voltage
from tracker.physics.pack_draws import PackDraws, counted_cells

COUNTED_ABOVE_FULL_V = 0.1
"""What a controller that counts cells takes for the most one cell can have, above full. Common practice."""
LEAST_STARTS = 8
"""So many runs written down show how full a pack is when it is plugged in."""
PARTLY_EMPTY, EMPTY_SOC, NEARLY_FULL_SOC = 0.02, 0.05, 0.95
"""Where they do not: so many runs are taken to begin with a pack that is not full, anywhere between these. From memory."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class CountedStart:
    """What a controller that counts cells takes each version for.

    Attributes
    ----------
    cells : NDArray
        Cells counted, shape (draws,) [1]
    below_v : float
        Of the pack, below which it counts too few [V]
    fewest : int
        The fewest it counted in any version [1]
    share : float
        Share of the versions in which it counts too few [1]
    assumed : bool
        Whether how full packs are plugged in is assumed; else it is as runs written down began
    """

    cells: NDArray[np.int_]
    below_v: float
    fewest: int
    share: float
    assumed: bool


def counted_start(versions: PackDraws, starts_soc: Sequence[float], full_v: float, seed: int) -> CountedStart:
    """Cells counted when the versions of a pack are plugged in as full as they come.

    Parameters
    ----------
    versions : PackDraws
        The pack; a run is reckoned from full all the same [1]
    starts_soc : Sequence[float]
        Charge at which runs written down began [1]
    full_v : float
        Voltage of a full cell [V]
    seed : int
        Of the draw [1]

    Returns
    -------
    CountedStart
        Of each version [1]

    Notes
    -----
    A run that begins further down ends where one from full ends; so what is counted only moves where the controller lets go.

    References
    ----------
    .. [1] Common practice, no source: the fewest cells that can make up the voltage.
    """
    chance = ndtr(normal_draws(versions.draws, 1, seed)[:, 0])
    assumed = len(starts_soc) < LEAST_STARTS
    if assumed:
        between = EMPTY_SOC + (NEARLY_FULL_SOC - EMPTY_SOC) * chance / PARTLY_EMPTY
        soc = np.where(chance < PARTLY_EMPTY, between, 1.0)
    else:
        rising = np.sort(np.asarray(starts_soc, dtype=np.float64))
        soc = np.clip(rising[np.minimum((chance * len(rising)).astype(np.intp), len(rising) - 1)], 0.0, 1.0)
    each = np.minimum(soc[:, None], versions.soc)
    most_cell_v = full_v + COUNTED_ABOVE_FULL_V
    cells = counted_cells(settled_voltage(versions.kind.tables, each.T).sum(axis=0), most_cell_v, most_cells=versions.series)
    return CountedStart(
        cells=cells,
        below_v=(versions.series - 1) * most_cell_v,
        fewest=int(cells.min()),
        share=float((cells < versions.series).mean()),
        assumed=assumed,
    )
