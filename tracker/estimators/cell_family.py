"""A chemistry made ready for computing: its curve, relaxation, resistance and what is usual for it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tracker.chemistry import Chemistry, load
from tracker.physics.load_voltage import arrhenius_factor
from tracker.physics.rest_voltage import Relaxation, RestCurve, rest_curve

FloatArray = NDArray[np.float64]

UNSEEN_SHARE = 0.7
"""Part of the spread between makes that is added to what the makes given show of it. From memory."""
RELAXATION_ENERGY_J_MOL = {"lithium": 35e3, "nickel": 0.0, "lead": 0.0}
"""Recovery minutes after load slows in the cold more than resistance rises: 43 to 50 kJ/mol between -10 and 25 °C on a pouch
cell (Kollmeyer, P.; Skells, M. (2020), Mendeley Data, doi:10.17632/4fx8cjprxm.1, derived), less on a cylindrical one; between."""


@dataclass(frozen=True, slots=True, eq=False)
class CellFamily:
    """One chemistry's curve, relaxation and typical values."""

    chemistry: Chemistry
    curve: RestCurve
    relaxation: Relaxation

    def resistance_factor(self, soc: ArrayLike, temperature_k: ArrayLike) -> FloatArray:
        """Factor on the resistance at 25 °C and half charge.

        Parameters
        ----------
        soc : ArrayLike
            State of charge [1]
        temperature_k : ArrayLike
            Cell temperature, broadcasts with `soc` [K]

        Returns
        -------
        FloatArray
            Factor [1]

        References
        ----------
        .. [1] Sources are in the chemistry file.
        """
        table = self.chemistry.resistance_soc
        return np.interp(np.asarray(soc, dtype=np.float64), table.soc, table.factor) * self.arrhenius(temperature_k)

    def arrhenius(self, temperature_k: ArrayLike) -> FloatArray:
        """Factor by which cold raises resistance and relaxation.

        Parameters
        ----------
        temperature_k : ArrayLike
            Cell temperature [K]

        Returns
        -------
        FloatArray
            Factor, 1 at 25 °C [1]

        References
        ----------
        .. [1] Activation energy and its source are in the chemistry file.
        """
        return arrhenius_factor(temperature_k, self.chemistry["resistance_energy"])

    def slower(self, temperature_k: ArrayLike) -> FloatArray:
        """Factor by which cold raises what a cell has still to recover after load.

        Parameters
        ----------
        temperature_k : ArrayLike
            Cell temperature [K]

        Returns
        -------
        FloatArray
            Factor, 1 at 25 °C [1]

        References
        ----------
        .. [1] RELAXATION_ENERGY_J_MOL; for other families than lithium the energy of the resistance.
        """
        return arrhenius_factor(temperature_k, max(RELAXATION_ENERGY_J_MOL[self.chemistry.family], self.chemistry["resistance_energy"]))

    def sd_of(self, parameter: str, otherwise: float) -> float:
        """Standard uncertainty given with a parameter.

        Parameters
        ----------
        parameter : str
            Name of the parameter [1]
        otherwise : float
            What to take when the file gives none [unit of the parameter]

        Returns
        -------
        float
            Standard uncertainty [unit of the parameter]

        References
        ----------
        .. [1] The chemistry file.
        """
        sd = self.chemistry.parameters[parameter].sd
        return otherwise if sd is None else sd


@cache
def family(chemistry: str) -> CellFamily:
    """Chemistry called `chemistry`, ready for computing.

    Parameters
    ----------
    chemistry : str
        Key of a chemistry file [1]

    Returns
    -------
    CellFamily
        The chemistry's curve and typical values [1]

    Raises
    ------
    ChemistryError
        When there is none of that name.

    References
    ----------
    .. [1] The chemistry file.
    """
    facts = load(chemistry)
    relaxation = Relaxation(
        volts_per_c=facts["relaxation_v_per_c"],
        soc_per_c=facts["relaxation_soc_per_c"],
        fast_share=facts["relaxation_fast_share"],
        fast_s=facts["relaxation_fast"],
        slow_s=facts["relaxation_slow"],
        energy_j_mol=facts["resistance_energy"],
    )
    curve = rest_curve([(make.soc, make.voltage_v) for make in facts.makes], UNSEEN_SHARE * facts["curve_spread_soc"])
    return CellFamily(facts, curve, relaxation)
