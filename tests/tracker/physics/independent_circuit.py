"""The same cell in an equivalent-circuit package written by others, solved by an adaptive integrator."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tests.tracker.physics.made_up_cells import PAIR_S, rested_v, rise
from tracker.physics.load_voltage import GAS_CONSTANT_J_MOL_K, REFERENCE_K

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Course:
    """What the package says of each end of a step."""

    voltage_v: FloatArray
    soc: FloatArray
    temperature_k: FloatArray


def course(
    steps: Sequence[tuple[float, float]],
    soc: float,
    temperature_k: float,
    cooling_w_k: float | None = None,
    heat_capacity_j_k: float = 1.0,
    **accuracy: float,
) -> Course:
    """Course of the made-up cell through steps of (seconds, amperes); it warms where a cooling is given."""
    import thevenin

    def colder(kelvin: float, energy_j_mol: float) -> float:
        return float(np.exp(energy_j_mol / GAS_CONSTANT_J_MOL_K * (1.0 / kelvin - 1.0 / REFERENCE_K)))

    def first_ohm(charge: float, kelvin: float) -> float:
        return 2e-3 * float(rise(np.asarray(charge))) * colder(kelvin, 30e3)

    def second_ohm(charge: float, kelvin: float) -> float:
        return 3e-3 * colder(kelvin, 15e3)

    simulation = thevenin.Simulation(
        {
            "num_RC_pairs": 2,
            "soc0": soc,
            "capacity": 5.0,
            "ce": 1.0,
            "gamma": 0.0,
            "mass": 1.0,
            "isothermal": cooling_w_k is None,
            "Cp": heat_capacity_j_k,
            "T_inf": temperature_k,
            "h_therm": cooling_w_k or 1.0,
            "A_therm": 1.0,
            "ocv": lambda charge: float(rested_v(np.asarray(charge))),
            "M_hyst": lambda charge: 0.0,
            "R0": lambda charge, kelvin: 4e-3 * float(rise(np.asarray(charge))) * colder(kelvin, 30e3),
            "R1": first_ohm,
            "C1": lambda charge, kelvin: PAIR_S[0] / first_ohm(charge, kelvin),
            "R2": second_ohm,
            # the time constant of the second pair rises in the cold as its resistance does
            "C2": lambda charge, kelvin: PAIR_S[1] * colder(kelvin, 15e3) / second_ohm(charge, kelvin),
        }
    )
    experiment = thevenin.Experiment(**accuracy)
    for seconds, amperes in steps:
        experiment.add_step("current_A", amperes, (seconds, 2))
    ends: dict[str, list[float]] = {"voltage_V": [], "soc": [], "temperature_K": []}
    for index in range(experiment.num_steps):
        found = simulation.run_step(experiment, index)
        if not found.success:
            raise AssertionError(f"the package did not finish step {index}: {found.message}")
        for name, values in ends.items():
            values.append(float(found.vars[name][-1]))
    return Course(*(np.array(values) for values in ends.values()))
