"""Where a controller lets go and takes hold again, from readings of a bench supply turned down and up.

A threshold is never read, only enclosed: it lies between the last reading of the one kind and the first of the other.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]


class Sweep(NamedTuple):
    """A stretch of readings over which the supply goes one way; it shares its ends with its neighbours."""

    first: int
    last: int
    rising: bool


class Crossing(NamedTuple):
    """One time the controller let go, or took hold again."""

    low_v: float
    high_v: float
    """The threshold lies between the two."""
    reading: int
    """Place of the first reading behind the change."""
    clean: bool
    """It changed once and stayed so."""


class Crossings(NamedTuple):
    """What one series of readings shows."""

    trips: tuple[Crossing, ...]
    restarts: tuple[Crossing, ...]
    restless: int
    """Sweeps over which it changed more often than once, or the wrong way."""
    stayed_off_v: float | None
    """The highest supply after a trip at which it still stood still, where it never ran again before the supply went down or the end."""


def sweeps(supply_v: ArrayLike, turn_v: float = 0.0) -> tuple[Sweep, ...]:
    """Stretches over which the supply goes down or up.

    Parameters
    ----------
    supply_v : ArrayLike
        Supply voltages in the order taken, shape (n,) [V]
    turn_v : float
        Going back by no more than this is noise and no turn [V]

    Returns
    -------
    tuple of Sweep
        One after the other, the last reading of one the first of the next

    References
    ----------
    .. [1] Turning points with a dead band, as load histories are cut up in ASTM E1049.
    """
    volts = np.asarray(supply_v, dtype=np.float64)
    found: list[Sweep] = []
    first = extreme = 0
    direction = 0
    for place, value in enumerate(volts):
        ahead = direction * (value - volts[extreme])
        if direction == 0:
            if abs(value - volts[first]) > turn_v:
                direction, extreme = int(np.sign(value - volts[first])), place
        elif ahead >= 0:
            extreme = place
        elif ahead < -turn_v:
            found.append(Sweep(first, extreme, direction > 0))
            first, extreme, direction = extreme, place, -direction
    if direction:
        found.append(Sweep(first, len(volts) - 1, direction > 0))
    return tuple(found)


def crossings(supply_v: ArrayLike, running: ArrayLike, turn_v: float = 0.0) -> Crossings:
    """Every trip and restart in a series of readings.

    Parameters
    ----------
    supply_v : ArrayLike
        Supply voltages in the order taken, shape (n,) [V]
    running : ArrayLike
        Whether the motor ran, shape (n,) [yes or no]
    turn_v : float
        Going back by no more than this is noise and no turn [V]

    Returns
    -------
    Crossings
        Trips while the supply goes down, restarts while it goes up

    Notes
    -----
    Where the motor stops and runs several times over one sweep, the threshold is enclosed by the first reading of the
    one kind and the last of the other. Running up from the very start is no restart: it had not let go before.

    References
    ----------
    .. [1] Bracketing a threshold between two readings: JCGM 100:2008, clause 4.3.7, limits and nothing known between.
    """
    volts, runs = np.asarray(supply_v, dtype=np.float64), np.asarray(running, dtype=np.bool_)
    trips: list[Crossing] = []
    restarts: list[Crossing] = []
    restless = 0
    stayed_off: list[float] = []
    parts = sweeps(volts, turn_v)
    for sweep in parts:
        before = runs[sweep.first] != sweep.rising  # a falling sweep begins running, a rising one stopped
        crossing = _crossing(volts, runs, sweep) if before else None
        states = runs[sweep.first : sweep.last + 1]
        changes = int(np.count_nonzero(states[1:] != states[:-1]))
        restless += changes > (crossing is not None)
        if not sweep.rising and crossing is not None:
            trips.append(crossing)
        elif sweep.rising and trips and crossing is not None:
            restarts.append(crossing)
        elif sweep.rising and trips and not states.any():
            stayed_off.append(float(volts[sweep.last]))
    if not parts and np.any(runs[1:] != runs[:-1]):
        restless += 1
    return Crossings(tuple(trips), tuple(restarts), restless, max(stayed_off, default=None))


def _crossing(volts: FloatArray, runs: BoolArray, sweep: Sweep) -> Crossing | None:
    """The change over a sweep that ends otherwise than it began; None where it does not."""
    states = runs[sweep.first : sweep.last + 1]
    if states[-1] == states[0]:
        return None
    changed = np.flatnonzero(states != states[0]) + sweep.first
    first_new = int(changed[0])
    last_old = int(np.flatnonzero(states == states[0])[-1]) + sweep.first
    behind = volts[last_old + 1]
    # With several readings at one voltage, the change came there after a wait: what encloses it is the voltage before.
    earlier = volts[sweep.first : first_new]
    beyond = earlier[earlier < behind] if sweep.rising else earlier[earlier > behind]
    ahead = beyond[-1] if len(beyond) else volts[first_new - 1]
    return Crossing(float(min(ahead, behind)), float(max(ahead, behind)), first_new, last_old + 1 == first_new)
