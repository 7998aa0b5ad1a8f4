"""What a model draws as its recordings show it: mean, bursts, and how the current goes up and down in between."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

import numpy as np
from numpy.typing import NDArray

from tracker.domain.planning import PlannedLoad
from tracker.domain.trace import TraceSummary
from tracker.physics.load_profile import LoadProfile

FloatArray = NDArray[np.float64]

LATEST = 10
"""Recordings the load is taken from: the latest."""
LEAST_S = 60.0
"""A shorter stretch of driving does not show how a model is driven."""
ONE_SPREAD = 0.25
"""How far the mean current of the next run may lie from that of the one recorded. From memory."""
BURST_SHARE = 0.2
"""Bursts are the fifth of the time with the highest current."""
PERIOD_S, LEVELS = 60.0, np.array([0.0, 0.4, 0.8, 0.95, 1.0])
"""A recorded load comes back every minute, in parts that are steady: the shares of the time at which one ends and the next begins."""


@dataclass(frozen=True, slots=True)
class RecordedLoad:
    """A model's load by its recordings.

    Attributes
    ----------
    mean_a : tuple[float, ...]
        Of each recording [A]
    burst_ratio : tuple[float, ...]
        Current in bursts over the mean, of each [1]
    shape_s, shape_of_mean : tuple[float, ...]
        Stretches of the latest: length, and current over its mean [s], [1]
    """

    mean_a: tuple[float, ...]
    burst_ratio: tuple[float, ...]
    shape_s: tuple[float, ...]
    shape_of_mean: tuple[float, ...]

    @property
    def middle_a(self) -> float:
        """Median of the means [A]."""
        return median(self.mean_a)

    @property
    def spread_a(self) -> float:
        """Standard deviation of a run's mean from it [A]."""
        if len(self.mean_a) < 2:
            return ONE_SPREAD * self.middle_a
        own = float(np.std(self.mean_a, ddof=1))
        # Of few recordings the spread is hardly known: the usual one counts as two of them.
        return float(np.sqrt((2.0 * (ONE_SPREAD * self.middle_a) ** 2 + (len(self.mean_a) - 1) * own**2) / (len(self.mean_a) + 1)))


def recorded_load(summaries: Sequence[TraceSummary]) -> RecordedLoad | None:
    """The load that recordings show.

    Parameters
    ----------
    summaries : Sequence[TraceSummary]
        Of a model's recordings, in time order [1]

    Returns
    -------
    RecordedLoad or None
        None where none shows a run [A]

    References
    ----------
    .. [1] No source: a definition.
    """
    usable = [each for each in summaries if each.mean_a is not None and each.mean_a > 0 and sum(each.stretch_s) >= LEAST_S][-LATEST:]
    if not usable:
        return None
    latest = usable[-1]
    duration_s, current_a = np.array(latest.stretch_s), np.array(latest.stretch_a)
    mean_a = float(np.average(current_a, weights=duration_s))
    return RecordedLoad(
        mean_a=tuple(each.mean_a for each in usable if each.mean_a is not None),
        burst_ratio=tuple(burst_ratio(np.array(each.stretch_s), np.array(each.stretch_a)) for each in usable),
        shape_s=latest.stretch_s,
        shape_of_mean=tuple((current_a / mean_a).tolist()),
    )


def burst_ratio(duration_s: FloatArray, current_a: FloatArray) -> float:
    """Current in bursts over the mean.

    Parameters
    ----------
    duration_s, current_a : FloatArray
        Stretches, shape (n,) [s], [A]

    Returns
    -------
    float
        Mean of the fifth of the time with the highest current over the mean of all [1]

    References
    ----------
    .. [1] No source: a definition.
    """
    order = np.argsort(-current_a, kind="stable")
    until = np.cumsum(duration_s[order])
    wanted_s = BURST_SHARE * until[-1]
    share = np.clip(wanted_s - (until - duration_s[order]), 0.0, duration_s[order])
    return float(np.sum(share * current_a[order]) / wanted_s / np.average(current_a, weights=duration_s))


def shaped_profile(load: PlannedLoad, mean_a: FloatArray, burst_a: FloatArray) -> LoadProfile:
    """Versions of a load that is as often as high as recorded.

    Parameters
    ----------
    load : PlannedLoad
        With its shape [1]
    mean_a, burst_a : FloatArray
        Of each version, shape (draws,) [A]

    Returns
    -------
    LoadProfile
        Over and over, from the easiest part to the hardest; the deviation from the mean is stretched so that the bursts of each version
        come out [A]

    Notes
    -----
    Only how often a current is drawn is kept, not in which order: what a pack can do is asked again and again where it is hardest, at the end
    of a minute. The hardest part is a twentieth of the time, three seconds of a minute, as short as pulls are that matter.

    References
    ----------
    .. [1] No source: a definition.
    """
    duration_s, relative = np.array(load.shape_s), np.array(load.shape_of_mean)
    order = np.argsort(relative, kind="stable")
    until = np.concatenate([[0.0], np.cumsum(duration_s[order])]) / duration_s.sum()
    charge = np.concatenate([[0.0], np.cumsum((duration_s * relative)[order])]) / duration_s.sum()
    levels = np.diff(np.interp(LEVELS, until, charge)) / np.diff(LEVELS)
    ratio = burst_ratio(duration_s, relative)
    above = (burst_a / mean_a - 1.0) / (ratio - 1.0) if ratio > 1.01 else np.ones_like(mean_a)
    return LoadProfile(PERIOD_S * np.diff(LEVELS), np.maximum(mean_a * (1.0 + above * (levels[:, None] - 1.0)), 0.0))
