"""Versions of packs as they are drawn: spread, independence, and what they keep of what is known."""

from __future__ import annotations

import numpy as np
import pytest

from tests.tracker.estimators.planned_packs import CAPACITY_AH, known_closely, pack_of
from tracker import chemistry
from tracker.estimators.cell_family import family
from tracker.estimators.drawn_packs import MATCHED_SD, drawn_versions, normal_draws
from tracker.estimators.pack_state import PackStates, first_states
from tracker.physics.pack_draws import PackDraws

COUNT = 4096


def drawn(
    chemistry_name: str = "lipo", series: int = 2, pack_k: float = 298.15, states: PackStates | None = None, seed: int = 5
) -> PackDraws:
    pack, cells = pack_of(chemistry_name, series), family(chemistry_name)
    return drawn_versions(pack, states or first_states([pack], cells), cells, count=COUNT, lead_ohm=0.0, seed=seed).at(pack_k)


def test_normal_draws_are_normal() -> None:
    numbers = normal_draws(COUNT, 6, 5)
    assert numbers.shape == (COUNT, 6)
    assert np.all(np.isfinite(numbers))
    np.testing.assert_allclose(numbers.mean(axis=0), 0.0, atol=0.002)
    np.testing.assert_allclose(numbers.std(axis=0), 1.0, atol=0.005)
    np.testing.assert_allclose((numbers < -2.326).mean(axis=0), 0.01, atol=0.0006)


def test_draws_of_other_seeds_and_columns_do_not_go_together() -> None:
    """Pack, load and trip are drawn by seeds in a row: together they must be as one draw, or the risk is of no pack there is."""
    columns = np.concatenate([normal_draws(COUNT, 3, seed) for seed in range(5, 17)], axis=1)
    correlation = np.corrcoef(columns.T) - np.eye(columns.shape[1])
    assert np.abs(correlation).max() < 4.5 / np.sqrt(COUNT)
    np.testing.assert_array_equal(normal_draws(16, 2, 5), normal_draws(16, 2, 5))


@pytest.mark.parametrize("name", chemistry.names())
def test_every_version_is_a_pack_there_could_be(name: str) -> None:
    for pack_k in (253.15, 298.15, 333.15):
        versions = drawn(name, 3, pack_k)
        for values in (versions.capacity_ah, versions.r0_ohm, versions.pair_ohm, versions.soc):
            assert np.all(np.isfinite(values))
            assert np.all(values > 0)
        assert versions.soc.max() <= 1.0
        assert versions.soc.min() > 0.9
        assert np.all(np.diff(versions.kind.tables.ocv_v, axis=-1) >= 0)
        assert np.median(versions.capacity_ah) == pytest.approx(CAPACITY_AH, rel=0.1)


def test_cells_of_an_unknown_pack_are_as_alike_as_makers_let_them_be() -> None:
    """Of a known pack they differ as its history has shown: there the maker's matching is no longer believed."""
    apart = np.diff(np.log(drawn().capacity_ah), axis=1).std() / np.sqrt(2.0)
    assert apart == pytest.approx(MATCHED_SD * np.sqrt(2.0), rel=0.05)
    weak = drawn(states=known_closely(pack_of(), log_capacity=(0.0, -0.2)))
    difference = np.diff(np.log(weak.capacity_ah), axis=1)
    assert difference.mean() == pytest.approx(-0.2, abs=0.001)
    assert difference.std() == pytest.approx(0.005 * np.sqrt(2.0), rel=0.05)


def test_cold_raises_resistance_by_more_than_one_law_and_not_surely() -> None:
    def mean_and_spread(pack_k: float) -> tuple[float, float]:
        logs = np.log(drawn(pack_k=pack_k, states=known_closely(pack_of())).r0_ohm)
        return float(logs.mean()), float(logs.std())

    warm, usual, cold = (mean_and_spread(pack_k) for pack_k in (313.15, 298.15, 263.15))
    assert warm == pytest.approx(usual, abs=1e-9)  # what the circuit's own law does besides is not in these figures
    assert cold[0] > usual[0] + 0.1
    assert cold[1] > usual[1]
