"""How numbers, times and kinds are put into words: one way for the whole dashboard."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from datetime import date, datetime
from typing import Literal

from dashboard.reading import reading, written
from tracker.domain.results import Estimate

MAH_PER_AH = 1000.0
ZERO_CELSIUS_K = 273.15
LOPSIDED = 0.25
"""An interval whose two arms differ by more than this share of the longer one is written out from end to end."""

NB = "\u00a0"
"""Between a number and its unit: the line is never broken there."""

_NUMBER = r"[-−]?\d[\d,]*(?:\.\d+)?"
_MEASURED = re.compile(rf"(?<![\w.,]){_NUMBER}(?:(?: ± | to |–){_NUMBER})?(?=[ \u00a0](?:V|A|C|mAh|Ah|mΩ|kΩ|%|h|min|s)\b|[ \u00a0]?%)")
"""A number, or two of a span, before a unit."""
_CELSIUS = re.compile(rf"(?<![\w.,])({_NUMBER})(?:( to | and |–)({_NUMBER}))?[ \u00a0]°C")
_NUMBER_AND_UNIT = re.compile(r"(?<=\d) (?=(?:V|A|C|mAh|Ah|mΩ|%|°C|°F|h|min|s|days?)\b|%)")

Measure = Literal["charge", "share", "rate", "volts", "resistance", "times", "runs", "minutes", "hours", "amps"]

_WRITTEN: dict[Measure, tuple[float, str, float]] = {
    "charge": (MAH_PER_AH, "mAh", 1.0),
    "share": (100.0, "%", 1.0),
    "rate": (100.0, "%", 0.1),
    "volts": (1.0, "V", 0.01),
    "resistance": (1000.0, "mΩ", 0.1),
    "times": (1.0, "times", 0.01),
    "runs": (1.0, "runs", 1.0),
    "minutes": (1 / 60, "min", 1.0),
    "hours": (1.0, "h", 0.1),
    "amps": (1.0, "A", 0.1),
}
"""Of each measure: the factor from what the code computes with, the unit, and the smallest step worth writing."""

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")

CHEMISTRY_WORDS = {
    "lipo": "lithium polymer",
    "lihv": "high-voltage lithium polymer",
    "liion": "lithium-ion",
    "life": "lithium iron phosphate",
    "nimh": "nickel-metal hydride",
    "nicd": "nickel-cadmium",
    "lead": "sealed lead-acid",
}
EVIDENCE_WORDS = {
    "rest_voltage": "Rested voltage",
    "load_voltage": "Voltage under load",
    "charger": "Charger count",
    "meter": "Meter in the model",
    "trace": "Recorded trace",
    "usual_draw": "Usual draw of this model",
}
ENDING_WORDS = {"driver": "driver stopped", "cutoff": "controller cut off", "alarm": "alarm", "other": "something else"}
GOAL_WORDS = {"full": "full", "storage": "storage", "partial": "part charge"}


def volts(value_v: float) -> str:
    """A voltage with two decimals."""
    return written(f"{value_v:,.2f}") + f"{NB}V"


def mah(charge_ah: float) -> str:
    """A charge in milliampere-hours, whole."""
    return written(f"{charge_ah * MAH_PER_AH:,.0f}") + f"{NB}mAh"


def percent(share: float) -> str:
    """A share 0…1 in percent, whole."""
    return f"{share * 100:.0f}{NB}%"


def chance(probability: float) -> str:
    """A probability in percent, never claiming none or certainty."""
    if probability < 0.01:
        return f"under{NB}1{NB}%"
    if probability > 0.99:
        return f"over{NB}99{NB}%"
    return percent(probability)


def risk(probability: float) -> str:
    """A chance that ought to be small, with a decimal while it is; what no draw showed is not called none."""
    if probability < 0.001:
        return f"under{NB}{written('0.1')}{NB}%"
    return written(f"{100 * probability:.1f}") + f"{NB}%" if probability < 0.0995 else chance(probability)


def minutes(time_s: float) -> str:
    """A time in minutes, whole, or in hours and days when it is long."""
    if time_s < 90:
        return f"{time_s:.0f}{NB}s"
    if time_s < 2 * 3600:
        return f"{time_s / 60:.0f}{NB}min"
    if time_s < 48 * 3600:
        return f"{time_s / 3600:.0f}{NB}h"
    return f"{time_s / 86400:.0f}{NB}days"


def temperature(temperature_k: float) -> str:
    """A temperature in the degrees chosen, whole."""
    value_c = temperature_k - ZERO_CELSIUS_K
    return f"{_fahrenheit(value_c):.0f}{NB}°F" if reading().degrees == "f" else f"{value_c:.0f}{NB}°C"


def degrees() -> str:
    """The unit of temperatures as chosen."""
    return "°F" if reading().degrees == "f" else "°C"


def _fahrenheit(value_c: float) -> float:
    return value_c * 1.8 + 32


def day(moment: datetime, *, year: bool = True) -> str:
    """A day in the local zone: 14 Jun 2025, or as chosen."""
    return date_words(moment.astimezone().date(), year=year)


def date_words(given: date, *, year: bool = True) -> str:
    """A day of the calendar: 14 Jun 2025, or as chosen."""
    if reading().days == "iso":
        return given.isoformat() if year else f"{given:%m-%d}"
    return f"{given.day}{NB}{MONTHS[given.month - 1]}" + (f"{NB}{given.year}" if year else "")


def clock(moment: datetime) -> str:
    """A day and a time in the local zone: Sat 14 Jun 2025, 14:05."""
    local = moment.astimezone()
    return f"{WEEKDAYS[local.weekday()]} {day(moment)}, {local:%H:%M}"


def counted(number: int, one: str, many: str | None = None) -> str:
    """A number with its noun: 1 run, 12 runs."""
    return written(f"{number:,}") + f" {one if number == 1 else many or one + 's'}"


def number(value: float, decimals: int = 0) -> str:
    """A bare number."""
    return written(f"{value:,.{decimals}f}")


def in_unit(value: float, measure: Measure) -> float:
    """A value in the unit in which its measure is written."""
    return value * _WRITTEN[measure][0]


def measured(value: float, measure: Measure) -> str:
    """A value with its unit, as its measure is written."""
    _, unit, least = _WRITTEN[measure]
    return f"{_to(in_unit(value, measure), least, _decimals(least, measure))}{NB}{unit}"


def interval(estimate: Estimate, measure: Measure) -> str:
    """An estimate with its 90 % interval: 3,910 ± 80 mAh, or 97 % (88 to 100 %) when it leans to one side."""
    scale, unit, least = _WRITTEN[measure]
    value, low, high = estimate.value * scale, estimate.low * scale, estimate.high * scale
    half = (high - low) / 2
    step = max(least, _step(half))
    decimals = _decimals(step, measure)
    below, above = value - low, high - value
    if half >= 2 * least and abs(above - below) > LOPSIDED * max(above, below):
        return f"{_to(value, step, decimals)}{NB}{unit} ({_to(low, step, decimals)} to {_to(high, step, decimals)}{NB}{unit})"
    # An interval narrower than the last digit shown is still an interval: never write ± 0.
    return f"{_to(value, step, decimals)}{NB}±{NB}{_to(max(half, step), step, decimals)}{NB}{unit}"


def _decimals(step: float, measure: Measure) -> int:
    """Digits behind the point: voltages always have two, the rest as many as the step is worth."""
    return 2 if measure == "volts" else max(0, -math.floor(math.log10(step)))


def _step(half: float) -> float:
    """The power of ten to which a value with this half interval is worth writing."""
    return 10.0 ** math.floor(math.log10(half / 2.5)) if half > 0 else 0.0


def _to(value: float, step: float, decimals: int) -> str:
    rounded = round(value / step) * step
    return written(f"{rounded + 0.0:,.{decimals}f}")


def resistor(value_ohm: float) -> str:
    """A resistance to the digits preferred values have: 4.7 kΩ."""
    for size, unit in ((1e6, "MΩ"), (1e3, "kΩ")):
        if value_ohm >= size:
            return written(f"{value_ohm / size:.4g}") + f"{NB}{unit}"
    return written(f"{value_ohm:.4g}") + f"{NB}Ω"


def unbroken(text: str) -> str:
    """Text written elsewhere, with measured numbers as chosen and no line break between a number and its unit."""
    chosen = reading()
    if chosen.degrees == "f":
        text = _CELSIUS.sub(_in_fahrenheit, text)
    if chosen.numbers != "point":
        text = _MEASURED.sub(lambda match: written(match[0]), text)
    return _NUMBER_AND_UNIT.sub(NB, text)


def _in_fahrenheit(match: re.Match[str]) -> str:
    low, between, high = (match[1], match[2] or "", match[3])
    return f"{_as_fahrenheit(low)}{between}{_as_fahrenheit(high) if high else ''}{NB}°F"


def _as_fahrenheit(text: str) -> str:
    return f"{_fahrenheit(float(text.replace('−', '-').replace(',', ''))):.0f}".replace("-", "−")


def chemistry_words(key: str) -> str:
    """A chemistry as a person says it."""
    return CHEMISTRY_WORDS.get(key, key)


def pack_words(chemistry: str, series: int, capacity_ah: float) -> str:
    """What a pack is, in a line: lithium polymer, 2 cells, 3,200 mAh."""
    return f"{chemistry_words(chemistry)}, {counted(series, 'cell')}, {mah(capacity_ah)}"


def shown_degrees(celsius: str) -> str:
    """A temperature as a file holds it, for a field in the degrees chosen."""
    return fahrenheit_text(celsius) if reading().degrees == "f" else celsius


def celsius_of(typed: str) -> str:
    """A temperature as typed in the degrees chosen, as a file holds it."""
    return celsius_text(typed) if reading().degrees == "f" else typed


def celsius_text(fahrenheit: str) -> str:
    """A typed temperature brought to Celsius; what is no number stays as it is, to be refused."""
    return _converted(fahrenheit, lambda value_f: (value_f - 32) / 1.8)


def fahrenheit_text(celsius: str) -> str:
    """A typed temperature brought to Fahrenheit; what is no number stays as it is."""
    return _converted(celsius, _fahrenheit)


def _converted(text: str, convert: Callable[[float], float]) -> str:
    try:
        converted = f"{convert(float(text.replace(',', '.'))):.6g}"
    except ValueError:
        return text
    return converted.replace(".", ",") if "," in text else converted
