"""The equivalent circuit against pulses it was not fitted to.

Measured: pouch cell of 5 Ah at 25 °C, pulses of 10 s at 1 C to 10 C: Kollmeyer, P.; Skells, M. (2020), Mendeley Data,
doi:10.17632/4fx8cjprxm.1, McMaster University. Seen: fitted to 1 C and 5 C, the pulses at 2 C come within 2.2 mV (RMS 0.9 mV)
of 10 to 90 mV sag above a charge of 0.2, those at 10 C within 25 mV (RMS 11 mV) of 420 to 450 mV; fitted to every other state of
charge above 0.1, those between come out with an RMS of 4.1 mV. Carried to other temperatures with the 31 kJ/mol of the chemistry,
the sag after 10 s above a charge of 0.25 comes out right at 38 °C, and 16 %, 20 % and 28 % too small at 9, -1 and -10 °C.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from tests.tracker.physics.measured_pulses import Pulse, fitted, predicted, pulses, rested_curve
from tracker.chemistry import load
from tracker.physics.load_voltage import arrhenius_factor
from tracker.units import kelvin_from_celsius

FloatArray = NDArray[np.float64]


def misses_v(taught: list[Pulse], asked: list[Pulse]) -> FloatArray:
    """Errors at the four moments of each pulse asked for."""
    curve = rested_curve()
    return predicted(fitted(taught, curve), asked, curve) - np.stack([pulse.volts for pulse in asked])


def rms(errors: FloatArray) -> float:
    return float(np.sqrt(np.mean(errors**2)))


def test_pulses_of_other_strengths_come_out_right() -> None:
    """Measured; the light end of 10 C, its first tenth of a second, is where the meter was slow and the circuit linear."""
    every = [pulse for pulse in pulses() if pulse.soc > 0.2]
    taught = [pulse for pulse in every if pulse.c_rate in (1, 5)]
    between = misses_v(taught, [pulse for pulse in every if pulse.c_rate == 2])
    assert len(between) == 9
    assert rms(between) < 0.0015
    assert np.max(np.abs(between)) < 0.003
    beyond = misses_v(taught, [pulse for pulse in every if pulse.c_rate == 10])
    assert rms(beyond) < 0.013
    assert rms(beyond[:, 1:]) < 0.006


def test_pulses_at_other_charges_come_out_right() -> None:
    """Measured; resistances taken straight between the states of charge that were fitted."""
    every = [pulse for pulse in pulses() if pulse.soc > 0.1]
    charges = sorted({round(pulse.soc, 2) for pulse in every})
    taught = [pulse for pulse in every if round(pulse.soc, 2) in charges[::2]]
    asked = [pulse for pulse in every if round(pulse.soc, 2) not in charges[::2]]
    assert len(charges) == 10
    assert rms(misses_v(taught, asked)) < 0.006


@pytest.mark.parametrize(("temperature_c", "most_too_small"), [("40", 0.03), ("10", 0.20), ("0", 0.25)])
def test_the_chemistrys_energy_carries_the_sag_to_other_temperatures(temperature_c: str, most_too_small: float) -> None:
    """Measured; one energy for all the circuit says too little of the cold, so whoever relies on it there has to allow for that."""
    warm = [pulse for pulse in pulses() if pulse.soc > 0.2]
    fit = fitted([pulse for pulse in warm if pulse.c_rate in (1, 5)], rested_curve())
    asked = [pulse for pulse in pulses(temperature_c) if pulse.soc > 0.25 and pulse.c_rate in (1, 2, 5)]
    colder = float(arrhenius_factor(mean_case_k(asked), load("lipo")["resistance_energy"], mean_case_k(warm)))
    carried = replace(fit, r0_ohm=fit.r0_ohm * colder, pair_ohm=fit.pair_ohm * colder)
    before_v = np.array([pulse.before_v for pulse in asked])
    measured_v = before_v - [pulse.volts[2] for pulse in asked]
    said_v = before_v - predicted(carried, asked, rested_curve(temperature_c))[:, 2]
    assert len(asked) >= 24
    assert -0.03 < float(np.mean((measured_v - said_v) / measured_v)) < most_too_small


def mean_case_k(several: list[Pulse]) -> float:
    return kelvin_from_celsius(float(np.mean([pulse.case_c for pulse in several])))
