"""The answer for outings of one shape: unknowns, their covariance, and how each reading fared."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Layout:
    """Where each kind of unknown lies among the P unknowns of an outing."""

    cells: int
    shapes: int
    runs: int

    @property
    def size(self) -> int:
        """Number of unknowns P."""
        return 2 * self.cells + self.shapes + 3 * self.runs + 1

    @property
    def start(self) -> int:
        """First state of charge."""
        return self.cells + self.shapes

    @property
    def charge(self) -> int:
        """First charge of a run."""
        return self.start + self.cells

    @property
    def shared(self) -> int:
        """First shared error: before and after the first run, before and after the second, …"""
        return self.charge + self.runs


@dataclass(frozen=True, slots=True, eq=False)
class Relaxed:
    """What readings after N outings of m runs were corrected by for the rest that was too short.

    Attributes
    ----------
    deficit_v, doubt_v, shared_v : FloatArray
        The correction, its standard uncertainty, and that of everything all cells of a reading share, shape (N, m) [V]
    """

    deficit_v: FloatArray
    doubt_v: FloatArray
    shared_v: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class OutingFit:
    """The answer for N outings of one shape.

    Attributes
    ----------
    layout : Layout
        Order of the unknowns.
    x : FloatArray
        Unknowns, shape (N, P) [1]
    covariance : FloatArray
        Of the unknowns, shape (N, P, P) [1]
    expected_log_capacity : FloatArray
        What the logarithms of capacity in `x` are counted from, shape (N, n) [1]
    weight, scaled : dict[str, FloatArray]
        Robust weight and residual in standard uncertainties of each reading, by kind of reading [1]
    row_sd : dict[str, FloatArray]
        Standard uncertainty of each reading in its own unit of the fit [1]
    read_soc : dict[str, FloatArray]
        State of charge each voltage reading stands for on the mean curve [1]
    relaxed : Relaxed
        What the readings after the runs were corrected by [V]
    lost : FloatArray
        Charge each cell lost by standing since the first run, shape (N, m, n) [1]
    """

    layout: Layout
    x: FloatArray
    covariance: FloatArray
    expected_log_capacity: FloatArray
    weight: dict[str, FloatArray]
    scaled: dict[str, FloatArray]
    row_sd: dict[str, FloatArray]
    read_soc: dict[str, FloatArray]
    relaxed: Relaxed
    lost: FloatArray

    @property
    def charge(self) -> FloatArray:
        """Charge of each run over rated, shape (N, m)."""
        first = self.layout.charge
        return self.x[:, first : first + self.layout.runs]

    @property
    def charge_sd(self) -> FloatArray:
        """Standard uncertainty of `charge`."""
        first = self.layout.charge
        diagonal = np.diagonal(self.covariance, axis1=1, axis2=2)
        return np.sqrt(diagonal[:, first : first + self.layout.runs])

    def state(self, boundary: int) -> FloatArray:
        """State of charge of each cell before or after each run.

        Parameters
        ----------
        boundary : int
            0 for before, 1 for after [1]

        Returns
        -------
        FloatArray
            Shape (N, m, n) [1]
        """
        lay, n = self.layout, self.layout.cells
        inverse = np.exp(-self.x[:, :n] - self.expected_log_capacity)
        drawn = np.cumsum(self.charge, axis=1) - (0.0 if boundary else self.charge)
        return np.asarray(self.x[:, None, lay.start : lay.start + n] - drawn[..., None] * inverse[:, None, :] - self.lost, dtype=np.float64)
