"""Conversions between what people read and what the code computes with, used at the edges only."""

from __future__ import annotations

ZERO_CELSIUS_K = 273.15
"""0 °C in kelvin, exact by definition (BIPM SI Brochure, 9th edition, 2019, section 2.3.1)."""

STANDARD_TEMPERATURE_K = 298.15
"""25 °C, to which resistances and rested-voltage curves are referred."""


def kelvin_from_celsius(temperature_c: float) -> float:
    """Temperature in kelvin of one in degrees Celsius."""
    return temperature_c + ZERO_CELSIUS_K


def celsius_from_kelvin(temperature_k: float) -> float:
    """Temperature in degrees Celsius of one in kelvin."""
    return temperature_k - ZERO_CELSIUS_K


def mah_from_ah(charge_ah: float) -> float:
    """Milliampere-hours of ampere-hours."""
    return charge_ah * 1000.0


def minutes_from_seconds(time_s: float) -> float:
    """Minutes of seconds."""
    return time_s / 60.0


def mohm_from_ohm(resistance_ohm: float) -> float:
    """Milliohms of ohms."""
    return resistance_ohm * 1000.0
