"""What a discharge costs by its depth, and how long a fading pack lasts."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import exp, log, sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq

from tracker.chemistry import Chemistry
from tracker.domain.conventions import WORN_HEALTH, WORN_RESISTANCE
from tracker.domain.health import Outlook
from tracker.domain.results import Estimate, NotEnough, Quantity
from tracker.physics.uncertainty import COVERAGE_FACTOR_90, probability_below
from tracker.units import mah_from_ah

FloatArray = NDArray[np.float64]

LEAST_RUNS = 10
LEAST_FULL_CYCLES = 5.0
"""With less history than this nothing is said about fade. The tool's own choice: the first cycles of a pack are not typical."""
CLEAR_FADE = 2.0
"""A fade is clear when it is this many of its standard uncertainties above nothing, about 98 % sure. The tool's own choice."""
WIDEST = 2.0
"""An interval wider than this many times the value says nothing …"""
SOON_RUNS = 30.0
"""… unless even its upper end is as near as this. The tool's own choice."""
FARTHEST = 10.0
"""The straight line of the past is not drawn further than this many times the runs it was learned from. The tool's own choice."""
SURELY_WORN = 0.95
"""From this chance on that the capacity is under the line none of the above is asked: the 95 % of a 90 % interval's end."""

_STEEPEST = 30.0


@dataclass(frozen=True, kw_only=True, slots=True)
class Fade:
    """The weakest cell's capacity now and how it goes down, together.

    Attributes
    ----------
    log_capacity, log_capacity_sd : float
        Natural logarithm of the weakest cell's capacity over the rated one, now [1]
    slope, slope_sd : float
        Change of it with each weighted full cycle, below 0 for a pack that fades [1]
    covariance : float
        Between the two [1]
    """

    log_capacity: float
    log_capacity_sd: float
    slope: float
    slope_sd: float
    covariance: float = 0.0


@dataclass(frozen=True, kw_only=True, slots=True)
class Use:
    """What a pack has been used for so far.

    Attributes
    ----------
    runs : int
        How many [1]
    full_cycles : float
        Charge drawn over rated capacity [1]
    weighted_cycles : float
        Sum of what each run cost by its depth [1]
    cost_per_run : float
        Its mean over the runs, in weighted full cycles [1]
    """

    runs: int
    full_cycles: float
    weighted_cycles: float
    cost_per_run: float


def depth_cost(depth: ArrayLike, chemistry: Chemistry) -> FloatArray:
    """Cost of one discharge in cycle life, against a full one.

    Parameters
    ----------
    depth : ArrayLike
        Depth of discharge, any shape [1]
    chemistry : Chemistry
        Gives the cost of half and of a fifth of a full discharge [1]

    Returns
    -------
    FloatArray
        0 at none, 1 at a full discharge; never falls with depth [1]

    Notes
    -----
    ``S(d) = 1 / (a d^-b - (a - 1))``, the form of Xu et al. scaled to 1 at full depth, with ``a`` and ``b`` such that it
    passes through the chemistry's two values. Only such ratios are used, never their counts of cycles. A depth above 1
    comes from a capacity taken too small: it goes on along the tangent. Two values that the form cannot take are joined
    by straight lines.

    References
    ----------
    .. [1] B. Xu, A. Oudalov, A. Ulbig, G. Andersson, D. S. Kirschen, IEEE Trans. Smart Grid 9 (2018) 1131-1140,
       doi 10.1109/TSG.2016.2578950.
    """
    part = np.maximum(np.asarray(depth, dtype=np.float64), 0.0)
    half, fifth = chemistry["depth_half_cost"], chemistry["depth_fifth_cost"]
    within = np.minimum(part, 1.0)
    shape = _stress_shape(half, fifth)
    if shape is None:
        cost = np.interp(within, (0.0, 0.2, 0.5, 1.0), (0.0, min(fifth, half), half, 1.0))
        slope_at_full = 2.0 * (1.0 - half)
    else:
        a, b = shape
        raised = np.power(within, b)
        cost = raised / (a - (a - 1.0) * raised)
        slope_at_full = a * b
    return np.asarray(cost + slope_at_full * (part - within), dtype=np.float64)


def outlook(rated_ah: float, fade: Fade, use: Use, resistance_growth: Quantity) -> Outlook:
    """How a pack fades and how many runs like those so far are left until it holds 80 % of rated.

    Parameters
    ----------
    rated_ah : float
        Capacity on the label [Ah]
    fade : Fade
        The weakest cell's capacity now and how it goes down [1]
    use : Use
        What the pack has been used for so far [1]
    resistance_growth : Quantity
        Mean resistance now over what it was when the record began [1]

    Returns
    -------
    Outlook
        Fade, runs left with their 90 % interval, and both in words; what cannot be told yet is said to be so [1]

    Notes
    -----
    Runs left are ``(ln c - ln 0.8) / (-slope x cost of a run)``, a quotient of two normal variables; its interval is
    Fieller's, which holds for a clear slope however skewed it is. It is about the straight line alone: a pack may give
    way sooner than a line tells. No runs are left when the capacity is below already, and nothing is said when there
    is too little history (`LEAST_RUNS`, `LEAST_FULL_CYCLES`), the fade is not clear (`CLEAR_FADE`), the interval is
    too wide (`WIDEST`, `SOON_RUNS`) or too far away (`FARTHEST`).

    References
    ----------
    .. [1] E. C. Fieller, J. R. Stat. Soc. B 16 (1954) 175-185, doi 10.1111/j.2517-6161.1954.tb00159.x.
    .. [2] 80 % of rated is a convention of USABC and IEEE 1188; neither was written for model packs.
    """
    left = _runs_left(fade, use)
    per_100 = _per_100_cycles(fade, use)
    return Outlook(
        full_cycles=use.full_cycles,
        weighted_cycles=use.weighted_cycles,
        fade_per_100_cycles=per_100,
        runs_left=left,
        resistance_growth=resistance_growth,
        sentence=_sentence(rated_ah, fade, left, per_100, resistance_growth),
    )


@lru_cache(maxsize=64)
def _stress_shape(half: float, fifth: float) -> tuple[float, float] | None:
    """Return ``a`` and ``b`` of the curve through both costs; None when there is no such curve."""
    if not (0.0 < fifth < half < 1.0):
        return None
    wanted = (1.0 / fifth - 1.0) / (1.0 / half - 1.0)

    def off(b: float) -> float:
        return float((5.0**b - 1.0) / (2.0**b - 1.0) - wanted)

    if off(1e-6) >= 0.0 or off(_STEEPEST) <= 0.0:
        return None
    b = float(brentq(off, 1e-6, _STEEPEST, xtol=1e-14))
    return (1.0 / half - 1.0) / (2.0**b - 1.0), b


def _too_little(use: Use) -> str | None:
    if use.runs < LEAST_RUNS:
        return f"Too early to say: {use.runs} run{'' if use.runs == 1 else 's'} so far, and at least {LEAST_RUNS} are needed"
    if use.full_cycles < LEAST_FULL_CYCLES or use.cost_per_run <= 0.0:
        return f"Too early to say: {use.full_cycles:.1f} times the rated capacity drawn so far, and at least {LEAST_FULL_CYCLES:.0f} times are needed"
    return None


def _is_clear(fade: Fade) -> bool:
    return -fade.slope > CLEAR_FADE * fade.slope_sd


def _runs_left(fade: Fade, use: Use) -> Quantity:
    margin = fade.log_capacity - log(WORN_HEALTH)
    if margin < 0.0 and float(probability_below(0.0, margin, fade.log_capacity_sd)) >= SURELY_WORN:
        return Estimate(value=0.0, low=0.0, high=0.0, sd=0.0)
    little = _too_little(use)
    if little is not None:
        return NotEnough(little)
    if not _is_clear(fade):
        return NotEnough(f"Too early to say: no clear loss of capacity shows in {use.runs} runs")
    value = float(max(margin, 0.0) / (-fade.slope * use.cost_per_run))
    bottom, top = (float(end / use.cost_per_run) for end in _quotient_interval(margin, fade))
    low, high = max(bottom, 0.0), max(top, 0.0)
    if high - low > WIDEST * value and high > SOON_RUNS:
        return NotEnough(f"Too early to say: anything from {_count(low)} to {_count(high)} runs may be left")
    if value > FARTHEST * use.runs:
        return NotEnough(f"Too early to say: it fades so slowly that {use.runs} runs do not tell how long it lasts")
    return Estimate(value=value, low=low, high=high, sd=(top - bottom) / (2.0 * COVERAGE_FACTOR_90))


def _quotient_interval(margin: float, fade: Fade) -> tuple[float, float]:
    """Return the ends of the 90 % interval of ``margin / -slope`` in weighted cycles, for a clear slope."""
    z2 = COVERAGE_FACTOR_90**2
    loss, shared = -fade.slope, -fade.covariance
    square = loss**2 - z2 * fade.slope_sd**2
    half = margin * loss - z2 * shared
    constant = margin**2 - z2 * fade.log_capacity_sd**2
    root = sqrt(max(half**2 - square * constant, 0.0))
    return (half - root) / square, (half + root) / square


def _per_100_cycles(fade: Fade, use: Use) -> Quantity:
    little = _too_little(use)
    if little is not None:
        return NotEnough(little)
    reach = COVERAGE_FACTOR_90 * fade.slope_sd
    low, value, high = (1.0 - exp(100.0 * slope) for slope in (fade.slope + reach, fade.slope, fade.slope - reach))
    return Estimate(value=value, low=low, high=high, sd=float(100.0 * exp(100.0 * fade.slope) * fade.slope_sd))


def _sentence(rated_ah: float, fade: Fade, left: Quantity, per_100: Quantity, growth: Quantity) -> str:
    resistance = _resistance_words(growth)
    if isinstance(left, NotEnough):
        return f"{left.why}." + (f" The {resistance}." if resistance else "")
    more = f"; the {resistance}" if resistance else ""
    held = f"It holds about {100.0 * exp(fade.log_capacity):.0f} % of the rated {mah_from_ah(rated_ah):,.0f} mAh"
    line = f"{100.0 * WORN_HEALTH:.0f} %"
    if left.value == 0.0:
        probably = "" if left.high == 0.0 else "probably "
        return f"{held}, {probably}less than the {line} that by convention end a battery's useful life{more}."
    loses = f" and loses about {_percent(per_100.value)} with every 100 full discharges" if isinstance(per_100, Estimate) else ""
    return (
        f"{held}{loses}{more}. At that rate it takes about {_count(left.value)} more run{'' if left.value < 1.5 else 's'} like those so far "
        f"({_count(left.low)} to {_count(left.high)}) until it holds {line}, by convention the end of a battery's useful life."
    )


def _resistance_words(growth: Quantity) -> str | None:
    if isinstance(growth, NotEnough) or growth.value < WORN_RESISTANCE:
        return None
    return f"pack's resistance is about {growth.value:.1f} times what it was when its record began"


def _percent(share: float) -> str:
    return f"{100.0 * share:.0f} %" if share >= 0.1 else f"{100.0 * share:.1f} %"


def _count(runs: float) -> str:
    """Return a number of runs with no more digits than it deserves."""
    if runs < 100.0:
        return f"{runs:.0f}"
    step = 10.0 ** (int(np.log10(runs)) - 1)
    return f"{round(runs / step) * step:,.0f}"
