"""Drawn packs of made-up cells."""

from __future__ import annotations

import numpy as np

from tests.tracker.physics.made_up_cells import kind
from tracker.physics.load_voltage import REFERENCE_K
from tracker.physics.pack_draws import PackDraws


def drawn_packs(
    draws: int, series: int = 2, *, spread: float = 0.03, weak: float = 1.0, colder_k: float = 0.0, lead_ohm: float = 2e-3, seed: int = 11
) -> PackDraws:
    """Packs of 5 Ah cells that differ by `spread`; the last cell holds `weak` times as much and has that much more resistance."""
    chance = np.random.default_rng(seed)
    shape = (draws, series)
    size = 1.0 + spread * chance.standard_normal(shape)
    worse = 1.0 + 2.0 * spread * chance.standard_normal(shape)
    size[:, -1] *= weak
    worse[:, -1] /= weak
    return PackDraws(
        kind=kind(),
        capacity_ah=5.0 * size,
        r0_ohm=4e-3 * worse,
        pair_ohm=np.stack([2e-3 * worse, 3e-3 * worse]),
        soc=np.clip(1.0 - 0.3 * spread * np.abs(chance.standard_normal(shape)), 0.0, 1.0),
        temperature_k=REFERENCE_K - colder_k,
        lead_ohm=lead_ohm,
    )
