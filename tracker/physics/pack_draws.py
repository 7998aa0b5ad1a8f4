"""Drawn packs and drawn controllers: many equally likely versions of one pack in one model."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tracker.errors import InputError
from tracker.physics.cell_circuit import CellKind, Cells, Heating, rested, settled_voltage
from tracker.physics.cell_model import MovingCells
from tracker.physics.load_voltage import REFERENCE_K

FloatArray = NDArray[np.float64]

MODES = ("pack_v", "cell_v", "none")


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class PackDraws:
    """Versions of a pack of cells in series, rested, about to be run.

    Attributes
    ----------
    kind : CellKind
        What all cells share; where there are several voltage curves, one a draw
    capacity_ah, r0_ohm, soc : FloatArray
        Of each cell, shape (draws, cells) [Ah], [ohm], [1]
    pair_ohm : FloatArray
        Of each cell, shape (pairs, draws, cells) [ohm]
    temperature_k : float | FloatArray
        Of the pack at the start, one for all or shape (draws,) [K]
    lead_ohm : float | FloatArray
        Leads and connectors all the current runs through, out and back, likewise [ohm]
    heating : Heating, optional
        How the cells warm; they keep their temperature when left out
    """

    kind: CellKind
    capacity_ah: FloatArray
    r0_ohm: FloatArray
    pair_ohm: FloatArray
    soc: FloatArray
    temperature_k: float | FloatArray = REFERENCE_K
    lead_ohm: float | FloatArray = 0.0
    heating: Heating | None = None

    def __post_init__(self) -> None:
        shape = np.shape(self.capacity_ah)
        if len(shape) != 2 or 0 in shape or np.shape(self.soc) != shape:
            raise InputError(f"Capacities of shape {shape} and charges of shape {np.shape(self.soc)}; both must be (draws, cells).")
        for what, values in (("temperature", self.temperature_k), ("lead resistance", self.lead_ohm)):
            if np.shape(values) not in ((), shape[:1]):
                raise InputError(f"The {what} has shape {np.shape(values)}; give one for all or one for each of the {shape[0]} draws.")
        if not np.all(np.asarray(self.lead_ohm) >= 0):
            raise InputError("The lead resistance must be 0 or more.")

    @property
    def draws(self) -> int:
        """How many versions."""
        return int(np.shape(self.capacity_ah)[0])

    @property
    def series(self) -> int:
        """How many cells in series."""
        return int(np.shape(self.capacity_ah)[1])

    def cells(self) -> Cells:
        """All cells, shape (cells, draws): whole rows of draws are quickest to add up."""
        ohm = np.ascontiguousarray(np.swapaxes(np.asarray(self.pair_ohm, dtype=np.float64), -1, -2))
        return Cells(self.kind, _turned(self.capacity_ah), _turned(self.r0_ohm), ohm, self.heating)

    def moving(self) -> MovingCells:
        """All cells at the start, shape (cells, draws)."""
        cells = self.cells()
        return MovingCells(cells, rested(cells, _turned(self.soc), self.temperature_k))

    @property
    def rested_v(self) -> FloatArray:
        """Rested voltage of the whole pack at the start, shape (draws,) [V]."""
        return np.asarray(settled_voltage(self.kind.tables, _turned(self.soc)).sum(axis=0))


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class ControllerDraws:
    """Versions of one controller.

    Attributes
    ----------
    mode : str
        What it lets go at: `pack_v`, a voltage of the pack; `cell_v`, one a cell, times the cells it counted; `none`, never
    trip_v : float | FloatArray
        Where it lets go, of the pack or of one cell, one for all or shape (draws,); not looked at without a cutoff [V]
    restart_v : float | FloatArray, optional
        Above which it runs again, likewise; without one it stays off once it has let go [V]
    counted_cells : int | NDArray, optional
        Cells it counted at power-up in mode `cell_v`, one for all or shape (draws,); as many as there are when left out [1]
    delay_s : float
        How long the voltage must stay below before it lets go [s]
    load_share : float
        Part of the model's current that runs through it, above 0 up to 1 [1]
    own_lead_ohm : float
        Leads and connectors that only its own current runs through, out and back [ohm]
    standby_a : float
        What it draws itself as long as it is connected [A]
    powers_receiver : bool
        Whether it feeds the receiver and what hangs on it, also after it has let go
    """

    mode: str
    trip_v: float | FloatArray = 0.0
    restart_v: float | FloatArray | None = None
    counted_cells: int | NDArray[np.int_] | None = None
    delay_s: float = 0.0
    load_share: float = 1.0
    own_lead_ohm: float = 0.0
    standby_a: float = 0.0
    powers_receiver: bool = False

    def __post_init__(self) -> None:
        if self.mode not in MODES:
            raise InputError(f"The way to let go is '{self.mode}'; allowed are {', '.join(MODES)}.")
        if not 0 < self.load_share <= 1:
            raise InputError(f"The controller's share of the load is {self.load_share:g}; it must be above 0 and at most 1.")
        for what, value in (("delay", self.delay_s), ("lead resistance", self.own_lead_ohm), ("standby current", self.standby_a)):
            if not (np.isfinite(value) and value >= 0):
                raise InputError(f"The controller's {what} is {value:g}; it must be 0 or more.")
        if not np.all(np.isfinite(self.trip_v)) or (self.restart_v is not None and not np.all(np.isfinite(self.restart_v))):
            raise InputError("The controller's trip and restart must be voltages; leave out a restart it does not have.")

    def trips_at(self, pack: PackDraws) -> FloatArray:
        """Voltage at its own leads below which it lets go.

        Parameters
        ----------
        pack : PackDraws
            The pack it hangs on [1]

        Returns
        -------
        FloatArray
            For each draw, shape (draws,); minus infinity where it never does [V]

        References
        ----------
        .. [1] No source: a definition.
        """
        return np.full(pack.draws, -np.inf) if self.mode == "none" else self.of_the_pack(self.trip_v, pack)

    def restarts_at(self, pack: PackDraws) -> FloatArray:
        """Voltage at its own leads above which it runs again.

        Parameters
        ----------
        pack : PackDraws
            The pack it hangs on [1]

        Returns
        -------
        FloatArray
            For each draw, shape (draws,); infinity where it stays off [V]

        References
        ----------
        .. [1] No source: a definition.
        """
        return np.full(pack.draws, np.inf) if self.restart_v is None else self.of_the_pack(self.restart_v, pack)

    def of_the_pack(self, voltage_v: ArrayLike, pack: PackDraws) -> FloatArray:
        """Voltage of the pack that a setting of this controller means.

        Parameters
        ----------
        voltage_v : ArrayLike
            Setting of the pack or of one cell, as the mode says, a shape that broadcasts with (draws,) [V]
        pack : PackDraws
            The pack it hangs on [1]

        Returns
        -------
        FloatArray
            Of the pack, shape (draws,) or with the setting's axes before it [V]

        References
        ----------
        .. [1] No source: a definition.
        """
        settings = np.asarray(voltage_v, dtype=np.float64)
        counted = np.asarray(pack.series if self.counted_cells is None else self.counted_cells, dtype=np.float64)
        times = counted if self.mode == "cell_v" else np.asarray(1.0)
        return np.asarray(settings * np.broadcast_to(times, pack.draws))


def counted_cells(pack_v: ArrayLike, most_cell_v: float, most_cells: int = 12) -> NDArray[np.int_]:
    """How many cells a controller counts when it is switched on.

    Parameters
    ----------
    pack_v : ArrayLike
        Voltage it sees at power-up, any shape [V]
    most_cell_v : float
        Highest voltage it takes one cell to have [V]
    most_cells : int
        Most cells it knows [1]

    Returns
    -------
    NDArray[np.int_]
        The fewest cells that can make up the voltage [1]

    Notes
    -----
    A half-empty pack of many cells looks like a full one of fewer: from 4.3 V a cell, six cells at 3.55 V count as five.

    References
    ----------
    .. [1] Common practice, no source.
    """
    if not most_cell_v > 0:
        raise InputError(f"The highest voltage of a cell is {most_cell_v:g} V; it must be above 0.")
    fewest = np.ceil(np.asarray(pack_v, dtype=np.float64) / most_cell_v - 1e-9)
    return np.asarray(np.clip(fewest, 1, most_cells).astype(np.int_))


def _turned(values: FloatArray) -> FloatArray:
    """From (draws, cells) to (cells, draws), or back."""
    return np.ascontiguousarray(np.asarray(values, dtype=np.float64).T)
