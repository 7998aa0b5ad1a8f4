"""What a model draws over time: stretches of one current each, once or over and over."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import ceil

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tracker.errors import InputError

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class LoadProfile:
    """Current of the motors with every controller running, in stretches.

    Attributes
    ----------
    duration_s : FloatArray
        How long each stretch lasts, shape (stretches,) [s]
    current_a : FloatArray
        Its current, discharge positive, shape (stretches,) for all packs alike or (stretches, draws) [A]
    repeated : bool
        Whether it begins again after the last stretch; otherwise the run ends there
    """

    duration_s: FloatArray
    current_a: FloatArray
    repeated: bool = True

    def __post_init__(self) -> None:
        duration_s, current_a = np.asarray(self.duration_s, dtype=np.float64), np.asarray(self.current_a, dtype=np.float64)
        if duration_s.ndim != 1 or len(duration_s) == 0 or current_a.shape[:1] != duration_s.shape or current_a.ndim > 2:
            raise InputError(
                f"The load has {np.size(duration_s)} durations and currents of shape {current_a.shape}; give one current each."
            )
        if not (np.all(np.isfinite(duration_s)) and np.all(duration_s > 0)):
            raise InputError("Every stretch of the load must last longer than 0 s.")
        if not np.all(np.isfinite(current_a)):
            raise InputError("The load holds a current that is not a number; leave that stretch out or repeat the one before.")
        object.__setattr__(self, "duration_s", duration_s)
        object.__setattr__(self, "current_a", current_a)

    @property
    def mean_a(self) -> FloatArray:
        """Mean current, shape () or (draws,) [A]."""
        return np.asarray(np.average(self.current_a, axis=0, weights=self.duration_s))

    def steps(self, longest_s: float, end_s: float) -> Iterator[tuple[float, FloatArray]]:
        """Steps of one current, none too long, until an end.

        Parameters
        ----------
        longest_s : float
            Longest step; a longer stretch is cut into equal ones [s]
        end_s : float
            Where to end, the last step cut short [s]

        Yields
        ------
        duration_s : float
            Length of the step [s]
        current_a : FloatArray
            Its current, shape () or (draws,) [A]

        References
        ----------
        .. [1] No source: a definition.
        """
        if not (longest_s > 0 and end_s > 0 and np.isfinite(end_s)):
            raise InputError(f"The longest step is {longest_s:g} s and the end {end_s:g} s; both must be above 0 and the end finite.")
        done_s = 0.0
        stretches = list(zip(self.duration_s.tolist(), self.current_a, strict=True))
        while True:
            for duration_s, current_a in stretches:
                whole_s = min(duration_s, end_s - done_s)
                pieces = ceil(whole_s / longest_s - 1e-9)
                for _ in range(pieces):
                    yield whole_s / pieces, np.asarray(current_a)
                done_s += duration_s
                if done_s >= end_s - 1e-9:
                    return
            if not self.repeated:
                return


def steady_and_bursts(steady_a: ArrayLike, burst_a: ArrayLike, burst_s: float, every_s: float) -> LoadProfile:
    """Profile of a steady current with bursts in it.

    Parameters
    ----------
    steady_a : ArrayLike
        Current between the bursts, one for all or shape (draws,) [A]
    burst_a : ArrayLike
        Current in a burst, likewise [A]
    burst_s : float
        How long a burst lasts [s]
    every_s : float
        From the start of one burst to that of the next [s]

    Returns
    -------
    LoadProfile
        The steady part first, then the burst, over and over [A]

    References
    ----------
    .. [1] No source: a definition.
    """
    if not 0 < burst_s < every_s:
        raise InputError(f"Bursts of {burst_s:g} s every {every_s:g} s: a burst must last longer than 0 s and be over before the next.")
    levels = np.broadcast_arrays(np.asarray(steady_a, dtype=np.float64), np.asarray(burst_a, dtype=np.float64))
    return LoadProfile(np.array([every_s - burst_s, burst_s]), np.stack(levels))
