"""Slips of the pen: a share of the rows of a history written down wrongly, and which runs that touches."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from datetime import datetime, timedelta
from itertools import pairwise

import numpy as np

from tests.tracker.estimators.simulated_packs import SimulatedPack
from tracker.domain.session import Charge, Run, Volts

RUN_SLIPS = ("swapped digits", "a total for a cell", "a reading off")
CHARGE_SLIPS = ("ten times the count", "swapped count", "a wrong day")
LEAST_V = 0.05
LEAST_COUNT = 0.15
"""A slip smaller than this, in volts or over the count, is not one a person could be asked to find."""


def with_slips(drawn: SimulatedPack, share: float = 0.05) -> SimulatedPack:
    """Return the history with this share of its rows spoilt."""
    rng = np.random.default_rng([17, *drawn.history.pack.name.encode()])
    touched: defaultdict[datetime, list[str]] = defaultdict(list)
    runs = [_spoil_run(run, rng, touched) if rng.random() < share else run for run in drawn.history.runs]
    charges = [_spoil_charge(drawn, charge, rng, touched) if rng.random() < share else charge for charge in drawn.history.charges]
    charges.sort(key=lambda charge: charge.finished_at)
    history = replace(drawn.history, runs=tuple(runs), charges=tuple(charges))
    return replace(drawn, history=history, slips={moment: tuple(words) for moment, words in touched.items()})


def _spoil_run(run: Run, rng: np.random.Generator, touched: defaultdict[datetime, list[str]]) -> Run:
    kind = str(rng.choice(RUN_SLIPS if len(run.after_v) > 1 else ("swapped digits", "a reading off")))
    after = bool(rng.random() < 0.7)
    volts = run.after_v if after else run.before_v
    place = int(rng.integers(len(volts)))
    if kind == "a total for a cell":
        wrong = round(sum(volts), 2)
    elif kind == "swapped digits":
        wrong = float(_swapped(f"{volts[place]:.2f}", rng))
    else:
        wrong = round(volts[place] + float(rng.choice([-1.0, 1.0])) * float(10.0 ** rng.uniform(-1.0, 0.0)), 2)
    if abs(wrong - volts[place]) < LEAST_V:
        return run
    spoilt: Volts = (*volts[:place], wrong, *volts[place + 1 :])
    touched[run.started_at].append(kind)
    return replace(run, after_v=spoilt) if after else replace(run, before_v=spoilt)


def _spoil_charge(drawn: SimulatedPack, charge: Charge, rng: np.random.Generator, touched: defaultdict[datetime, list[str]]) -> Charge:
    starts = [run.started_at for run in drawn.history.runs]
    before = [start for start in starts if start < charge.finished_at]
    if charge.put_back_ah is None or not before:
        return charge
    kind = str(rng.choice(CHARGE_SLIPS))
    if kind == "a wrong day":
        days = int(rng.choice([-2, -1, 1, 2]))
        moved = charge.finished_at + timedelta(days=days)
        passed = [start for start in starts if min(moved, charge.finished_at) < start <= max(moved, charge.finished_at)]
        if not passed:
            return charge  # no run lies between: nothing changes
        landed = [start for start in starts if start < moved][-1:]  # whose own charge now has company
        for start in {before[-1], *passed, *landed}:
            touched[start].append(kind)
        return replace(charge, finished_at=moved)
    wrong = 10.0 * charge.put_back_ah
    if kind == "swapped count":
        wrong = float(_swapped(str(round(1000.0 * charge.put_back_ah)), rng)) / 1000.0
        if abs(wrong / charge.put_back_ah - 1.0) < LEAST_COUNT:
            return charge
    touched[before[-1]].append(kind)
    return replace(charge, put_back_ah=wrong)


def _swapped(written: str, rng: np.random.Generator) -> str:
    """Two digits that stand side by side and differ, the wrong way round; the same again where there are none."""
    digits = [place for place, sign in enumerate(written) if sign.isdigit()]
    pairs = [(a, b) for a, b in pairwise(digits) if written[a] != written[b]]
    if not pairs:
        return written
    a, b = pairs[int(rng.integers(len(pairs)))]
    signs = list(written)
    signs[a], signs[b] = signs[b], signs[a]
    return "".join(signs)
