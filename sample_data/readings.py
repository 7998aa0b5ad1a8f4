"""Readings as a person takes them: coarse steps, small errors, gaps and slips of the hand."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

import numpy as np

from sample_data.simulate import FloatArray

CHECKER_ERROR_V = 0.005
"""A cell checker reads in steps of 10 mV and is up to this far off at each cell."""
METER_ERROR_V = 0.010
"""A voltmeter over the whole pack, in steps of 10 mV too."""
CHARGER_ERROR = 0.015
"""A charger's count is up to this share off."""
RESISTANCE_ERROR = 0.06
TELEMETRY_ERROR_V = 0.02
COUNTER_ERROR = 0.004

REMARKS = (
    "windy",
    "dry and dusty",
    "wet grass",
    "with two visitors",
    "new tyres",
    "drizzle",
    "long bank, steady going",
    "practised the slalom",
    "in good form",
)


class Instruments:
    """The club's instruments and one keeper's hand."""

    def __init__(self, scatter: np.random.Generator) -> None:
        self._scatter = scatter

    def chance(self, probability: float) -> bool:
        """Whether it happens this time."""
        return bool(self._scatter.random() < probability)

    def about(self, value: float, within: float) -> float:
        """A value up to `within` off."""
        return float(value + self._scatter.uniform(-within, within))

    def one_of(self, choices: Sequence[int]) -> int:
        """One of several whole numbers."""
        return int(choices[int(self._scatter.integers(len(choices)))])

    def remark(self) -> str:
        """What there was to say about the run, mostly nothing."""
        return REMARKS[int(self._scatter.integers(len(REMARKS)))] if self.chance(0.12) else ""

    def volts(self, cells_v: FloatArray, *, per_cell: bool) -> str:
        """Resting voltages: every cell with a checker, or the pack's total with a voltmeter."""
        if per_cell:
            return " ".join(f"{self.about(float(cell_v), CHECKER_ERROR_V):.2f}" for cell_v in cells_v)
        return f"{self.about(float(cells_v.sum()), METER_ERROR_V):.2f}"

    def charger_mah(self, sent_ah: float) -> str:
        """What the charger shows it put back."""
        return f"{sent_ah * 1000.0 * self.about(1.0, CHARGER_ERROR):.0f}"

    def counter_mah(self, used_ah: float, gain: float) -> str:
        """What an ampere-hour counter in the model shows."""
        return f"{used_ah * 1000.0 * gain * self.about(1.0, COUNTER_ERROR):.0f}"

    def resistances_mohm(self, resistance_ohm: FloatArray) -> str:
        """Each cell's resistance as the charger shows it."""
        return " ".join(f"{float(ohm) * 1000.0 * self.about(1.0, RESISTANCE_ERROR):.1f}" for ohm in resistance_ohm)


def minutes(time_s: float) -> str:
    """Minutes to the half, as read off a watch."""
    return f"{max(round(time_s / 30.0), 1) / 2.0:g}"


def local(time: datetime) -> str:
    """Date and time of day to the minute, without an offset: the club's own local time."""
    return time.strftime("%Y-%m-%dT%H:%M")


def mistyped(volts: str, typo: str) -> str:
    """The reading with a slip of the hand.

    Raises
    ------
    ValueError
        When the slip would not change the reading.
    """
    if typo == "swap":
        wrong = volts[:-2] + volts[-1] + volts[-2]
    elif typo == "cell as total":
        wrong = volts.split()[0]
    elif typo == "cell digit":
        first, second, *others = volts.split()
        wrong = " ".join((first, second[:2] + "2" + second[3:], *others))
    else:
        wrong = volts
    if wrong == volts:
        raise ValueError(f"'{typo}' does not change {volts!r}; choose another run for it.")
    return wrong
