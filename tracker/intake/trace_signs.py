"""Which sign a logger gives to discharge: the voltage sags when current flows out."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

CLEAR = 0.3
"""From this correlation of steps in voltage with steps in current on, the sag decides."""
SURE = 0.6
"""From this on nobody is asked to confirm it."""
LEAST_STEPS = 10
SHORT_S = 30.0
"""Steps between readings further apart than this say more of the state of charge than of the current."""


def direction_of(time_s: Floats, pack_v: Floats, current_a: Floats, doubts: list[str]) -> str:
    """Return positive or negative: from the sag, else from the sign most of the current has; what is not sure goes to `doubts`."""
    both = np.isfinite(pack_v) & np.isfinite(current_a)
    voltage, current, time = pack_v[both], current_a[both], time_s[both]
    flowing = float(np.abs(current).max(initial=0.0))
    if flowing == 0.0:
        doubts.append("No current flows anywhere in the recording.")
        return "positive"
    sag = _sag(time, voltage, current)
    net = float(np.trapezoid(current, time)) if len(time) > 1 else 0.0
    majority = "positive" if net >= 0 else "negative"
    if abs(sag) < CLEAR:
        doubts.append(
            f"Whether discharge is positive or negative does not show in the voltage; {majority} was taken, as most of the current is."
        )
        return majority
    found = "positive" if sag < 0 else "negative"
    if abs(sag) < SURE or found != majority:
        doubts.append(
            f"Discharge was taken to be {found}, as the voltage {'falls' if found == 'positive' else 'rises'} when the current rises."
        )
    return found


def _sag(time: Floats, voltage: Floats, current: Floats) -> float:
    """Correlation of steps in voltage with steps in current, of steps large enough to tell."""
    near = np.diff(time) <= SHORT_S
    change_a, change_v = np.diff(current)[near], np.diff(voltage)[near]
    if len(change_a) == 0:
        return 0.0
    large = np.abs(change_a) > 0.05 * np.abs(current).max()
    if large.sum() < LEAST_STEPS:
        large = np.abs(change_a) > 0
    if large.sum() < 2:
        return 0.0
    change_a, change_v = change_a[large], change_v[large]
    scale = float(np.sqrt(np.sum(change_a**2) * np.sum(change_v**2)))
    return float(np.sum(change_a * change_v)) / scale if scale > 0 else 0.0
