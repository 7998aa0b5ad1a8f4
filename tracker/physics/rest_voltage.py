"""Rested voltage and state of charge: one family's mean curve, how makes differ, and relaxation after load.

Makes of one chemistry differ by some ten percent of charge at the same rested voltage. The curve of a given
pack is therefore the family's mean curve plus a smooth deviation *in charge*:

    soc = m(v) + sum_k c_k b_k(m(v)),        c ~ N(0, 1)

where m is the mean over makes of their state of charge at voltage v, and the b_k are the principal shapes in
which makes differ. Working in charge rather than in volts keeps the model linear in everything that is unknown.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import PchipInterpolator

from tracker.physics.uncertainty import normal_nodes

FloatArray = NDArray[np.float64]

_SOC_GRID = np.linspace(0.0, 1.0, 101)
_BELOW_EMPTY = -0.05
"""A cell rested below the lowest voltage of any make counts as this much under empty: the curve is nearly upright there."""
_CORRELATION_SOC = 0.25
"""Over how much charge one make's deviation stays alike: about the width of one step or plateau of the curves."""


@dataclass(frozen=True, slots=True, eq=False)
class RestCurve:
    """Rested voltage against state of charge at 25 °C of a family of makes.

    Attributes
    ----------
    voltage_v : FloatArray
        Rising grid of voltages, shape (M,) [V]
    mean_soc : FloatArray
        Mean state of charge of the makes at `voltage_v`, rising, shape (M,) [1]
    shapes : FloatArray
        Principal deviations on `shape_soc`, shape (K, 101), each scaled to one standard deviation [1]
    """

    voltage_v: FloatArray
    mean_soc: FloatArray
    shapes: FloatArray

    @property
    def shape_count(self) -> int:
        """Number K of principal deviations."""
        return len(self.shapes)

    def soc(self, voltage_v: ArrayLike) -> FloatArray:
        """State of charge on the mean curve.

        Parameters
        ----------
        voltage_v : ArrayLike
            Rested voltage of one cell, any shape [V]

        Returns
        -------
        FloatArray
            Mean state of charge; a little below 0 or above 1 outside the curve's ends [1]

        References
        ----------
        .. [1] Makes' curves and their sources are in the chemistry file.
        """
        return np.interp(np.asarray(voltage_v, dtype=np.float64), self.voltage_v, self.mean_soc)

    def shape_values(self, mean_soc: ArrayLike) -> FloatArray:
        """Principal deviations at given states of charge of the mean curve.

        Parameters
        ----------
        mean_soc : ArrayLike
            State of charge on the mean curve, any shape [1]

        Returns
        -------
        FloatArray
            Shape ``mean_soc.shape + (K,)`` [1]

        References
        ----------
        .. [1] I. T. Jolliffe, Principal Component Analysis, 2nd ed., Springer 2002, chapter 1.
        """
        place = np.clip(np.asarray(mean_soc, dtype=np.float64), 0.0, 1.0) * (len(_SOC_GRID) - 1)
        left = np.minimum(place.astype(np.intp), len(_SOC_GRID) - 2)
        part = (place - left)[..., None]
        table = self.shapes.T
        return np.asarray(table[left] * (1.0 - part) + table[left + 1] * part)

    def soc_with_sd(self, voltage_v: ArrayLike, sd_v: ArrayLike) -> tuple[FloatArray, FloatArray]:
        """State of charge on the mean curve and its standard uncertainty from that of the reading.

        Parameters
        ----------
        voltage_v : ArrayLike
            Rested voltage of one cell, any shape [V]
        sd_v : ArrayLike
            Standard uncertainty of the reading [V]

        Returns
        -------
        soc : FloatArray
            Expected state of charge [1]
        sd : FloatArray
            Standard uncertainty due to the reading alone [1]

        Notes
        -----
        Five-point Gauss-Hermite averaging over the reading, not the slope at one point, so that a reading on a
        plateau is as uncertain as the plateau is wide.

        References
        ----------
        .. [1] JCGM 101:2008, propagation of distributions.
        """
        nodes, weights = normal_nodes(5)
        volts = np.asarray(voltage_v, dtype=np.float64)[..., None] + np.asarray(sd_v, dtype=np.float64)[..., None] * nodes
        socs = self.soc(volts)
        mean = socs @ weights
        return mean, np.sqrt(np.maximum(np.square(socs - mean[..., None]) @ weights, 1e-8))

    def voltage(self, soc: ArrayLike, deviation: ArrayLike | None = None) -> FloatArray:
        """Rested voltage at a state of charge, on the mean curve or on a pack's own.

        Parameters
        ----------
        soc : ArrayLike
            State of charge, any shape [1]
        deviation : ArrayLike, optional
            Coefficients of the principal deviations, shape ``(..., K)`` that broadcasts with `soc` [1]

        Returns
        -------
        FloatArray
            Rested voltage at 25 °C [V]

        References
        ----------
        .. [1] Makes' curves and their sources are in the chemistry file.
        """
        target = np.asarray(soc, dtype=np.float64)
        place = target
        if deviation is not None:
            coefficients = np.asarray(deviation, dtype=np.float64)
            for _ in range(16):  # a contraction: the deviation changes far more slowly than the charge itself
                place = 0.5 * (place + target - np.sum(self.shape_values(place) * coefficients, axis=-1))
        return np.interp(place, self.mean_soc, self.voltage_v)

    def slope(self, soc: ArrayLike) -> FloatArray:
        """Slope of the mean curve over a few percent of charge.

        Parameters
        ----------
        soc : ArrayLike
            State of charge, any shape [1]

        Returns
        -------
        FloatArray
            dV/dsoc [V]

        References
        ----------
        .. [1] Central difference of the mean curve.
        """
        centre = np.clip(np.asarray(soc, dtype=np.float64), 0.015, 0.985)
        return (self.voltage(centre + 0.015) - self.voltage(centre - 0.015)) / 0.03


def rest_curve(makes: Sequence[tuple[FloatArray, FloatArray]], spread_soc: float, shapes: int = 5) -> RestCurve:
    """Mean curve and principal deviations of a family from the curves of its makes.

    Parameters
    ----------
    makes : Sequence[tuple[FloatArray, FloatArray]]
        State of charge and voltage of each make, both rising [1], [V]
    spread_soc : float
        Standard deviation between makes at one voltage that holds in mid-range even if the makes given agree [1]
    shapes : int
        Number K of principal deviations kept [1]

    Returns
    -------
    RestCurve
        The family's curve [V]

    Notes
    -----
    The covariance between makes is their sample covariance, widened for how few they are, plus a smooth random
    deviation of standard deviation `spread_soc` that vanishes at full: a few makes never show all the ways in which
    makes differ, above all those in which the given ones happen to agree.

    References
    ----------
    .. [1] C. E. Rasmussen, C. K. I. Williams, Gaussian Processes for Machine Learning, MIT Press 2006, section 4.2,
       squared exponential covariance.
    """
    low = min(float(voltage[0]) for _, voltage in makes)
    high = max(float(voltage[-1]) for _, voltage in makes)
    volts = np.linspace(low, high, 800)
    socs = np.array([_extended(soc, voltage)(volts) for soc, voltage in makes])
    mean = np.maximum.accumulate(socs.mean(axis=0))
    rising = np.concatenate([[True], np.diff(mean) > 1e-9])
    grid_v, grid_soc = volts[rising], mean[rising]
    deviations = np.array([np.interp(_SOC_GRID, mean, row - mean) for row in socs])
    towards_ends = taper(_SOC_GRID)
    distance = (_SOC_GRID[:, None] - _SOC_GRID[None, :]) / _CORRELATION_SOC
    covariance = spread_soc**2 * np.outer(towards_ends, towards_ends) * np.exp(-0.5 * distance**2)
    count = len(makes)
    if count > 1:
        covariance = covariance + (count + 1) / (count * (count - 1)) * deviations.T @ deviations
    values, vectors = np.linalg.eigh(covariance)
    order = np.argsort(values)[::-1][:shapes]
    kept = np.sqrt(np.maximum(values[order], 0.0))[:, None] * vectors[:, order].T
    # Beyond its ends the mean curve goes on steeply: a reading just outside is an error of the meter, not a new state.
    ends_v = np.concatenate([[grid_v[0] - 0.6], grid_v, [grid_v[-1] + 0.10]])
    ends_soc = np.concatenate([[min(_BELOW_EMPTY, grid_soc[0] - 0.03)], grid_soc, [grid_soc[-1] + 0.06]])
    for array in (ends_v, ends_soc, kept):
        array.setflags(write=False)
    return RestCurve(ends_v, ends_soc, kept)


def _extended(soc: FloatArray, voltage_v: FloatArray) -> PchipInterpolator:
    """State of charge of one make as a function of voltage, held at its ends."""
    low, high = voltage_v[0], voltage_v[-1]
    inside = PchipInterpolator(voltage_v, soc)

    def held(volts: FloatArray) -> FloatArray:
        return np.asarray(inside(np.clip(volts, low, high)))

    return held  # type: ignore[return-value]


def taper(mean_soc: ArrayLike) -> FloatArray:
    """How far makes can differ at a state of charge, against mid-range.

    Parameters
    ----------
    mean_soc : ArrayLike
        State of charge on the mean curve [1]

    Returns
    -------
    FloatArray
        1 in mid-range, 0 at full: there a charger stops, for every make; towards empty, where the zero lies is a convention too [1]

    References
    ----------
    .. [1] No source: a definition.
    """
    soc = np.clip(np.asarray(mean_soc, dtype=np.float64), 0.0, 1.0)
    return np.asarray(np.minimum(1.0, (1.0 - soc) / 0.15) * (0.35 + 0.65 * np.minimum(1.0, soc / 0.10)))


@dataclass(frozen=True, slots=True)
class Relaxation:
    """How a cell's voltage comes back after load: amplitudes a C rate and two time constants.

    Attributes
    ----------
    volts_per_c : float
        Part that does not depend on the curve [V h]
    soc_per_c : float
        Part that acts as a lack of charge at the electrodes' surface and so grows with the curve's slope [h]
    fast_share : float
        Share of the fast part, 0…1 [1]
    fast_s, slow_s : float
        Time constants [s]
    energy_j_mol : float
        Activation energy [J/mol]
    """

    volts_per_c: float
    soc_per_c: float
    fast_share: float
    fast_s: float
    slow_s: float
    energy_j_mol: float

    def deficit(self, rest_s: ArrayLike, c_rate: ArrayLike, slope_v: ArrayLike, arrhenius: ArrayLike = 1.0) -> FloatArray:
        """By how much a voltage read some time after load is still below the rested one.

        Parameters
        ----------
        rest_s : ArrayLike
            Time since the load was taken off [s]
        c_rate : ArrayLike
            Mean discharge current before, over capacity [1/h]
        slope_v : ArrayLike
            Slope of the rested curve there, dV/dsoc [V]
        arrhenius : ArrayLike
            Factor of the resistance at the cell's temperature [1]

        Returns
        -------
        FloatArray
            Missing voltage, never negative [V]

        Notes
        -----
        ``c g(t) (a + b dV/dsoc) f(T)``, ``g = s exp(-t/fast) + (1-s) exp(-t/slow)``: an ohmic-like share of slow
        polarisation and a lack of charge at the surface of the electrodes, which the slope turns into volts.

        References
        ----------
        .. [1] L. Pei, T. Wang, R. Lu, C. Zhu, J. Power Sources 253 (2014) 412-418: the open-circuit voltage after load
           is described by exponentials whose time constants grow with time.
        """
        time = np.asarray(rest_s, dtype=np.float64)
        shape = self.fast_share * np.exp(-time / self.fast_s) + (1.0 - self.fast_share) * np.exp(-time / self.slow_s)
        amplitude = self.volts_per_c + self.soc_per_c * np.asarray(slope_v, dtype=np.float64)
        return np.asarray(c_rate, dtype=np.float64) * shape * amplitude * np.asarray(arrhenius, dtype=np.float64)
