"""The judge judged: tables against the library they come from, histories against what they are said to be.

Published: parameters of Chen2020 and Ecker2015 in the library; nothing of the project's own model is used.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.tracker.estimators.cell_tables import (
    CELLS,
    CELSIUS_K,
    LOADED_RATES,
    LOADED_TEMPERATURES_K,
    RATES,
    RESTS_S,
    SOCS,
    TEMPERATURES_K,
    Library,
    PublishedCell,
    table,
)
from tests.tracker.estimators.simulated_packs import CELL_SD, WEAK, Habits, SimulatedPack, first, history, never
from tests.tracker.estimators.slips import with_slips


@pytest.mark.parametrize("parameters", ["Chen2020", "Ecker2015"])
def test_table_gives_what_the_library_solves(parameters: str) -> None:
    """Between the points of the grid: within 4 mV after a rest, within 10 mV under load."""
    cell = next(each for each in CELLS if each.parameters == parameters)
    library, tabulated = Library(cell), table(parameters)
    chance = np.random.default_rng(5)
    for _ in range(6):
        c_rate = float(chance.uniform(cell.gentlest_c, cell.hardest_c))
        pack_k = CELSIUS_K + float(chance.uniform(15.0, 35.0))
        soc, rest_s = float(chance.uniform(0.08, 0.7)), float(chance.uniform(600.0, 3600.0))
        solved_v = library.rested_v(c_rate, soc, pack_k, np.array([rest_s]))[0]
        assert float(tabulated.rested_v(c_rate, soc, pack_k, rest_s)) == pytest.approx(solved_v, abs=0.004)
        states, volts = library.drive(c_rate, pack_k)
        assert float(tabulated.loaded_v(c_rate, soc, pack_k)) == pytest.approx(np.interp(-soc, -states, volts), abs=0.010)


@pytest.mark.parametrize("cell", CELLS, ids=lambda cell: cell.parameters)
def test_kept_tables_are_those_of_the_library(cell: PublishedCell) -> None:
    """Regression: at points of the grid to a millivolt, else they are of other parameters, or of another library, and are to be made anew."""
    library, kept = Library(cell), table(cell.parameters)
    span = (0.6 * cell.gentlest_c, 1.25 * cell.hardest_c)
    pack_k, c_rate = LOADED_TEMPERATURES_K[5], np.geomspace(*span, LOADED_RATES)[4]
    states, volts = library.drive(c_rate, pack_k)
    for soc in (0.3, 0.8):
        assert float(kept.loaded_v(c_rate, soc, pack_k)) == pytest.approx(np.interp(-soc, -states, volts), abs=0.001)
    pack_k, c_rate, soc = TEMPERATURES_K[2], np.geomspace(*span, RATES)[1], SOCS[8]
    assert kept.rested_v(c_rate, soc, pack_k, RESTS_S[4]) == pytest.approx(library.rested_v(c_rate, soc, pack_k, RESTS_S)[4], abs=0.001)


@pytest.mark.parametrize("parameters", [cell.parameters for cell in CELLS])
def test_open_circuit_runs_from_empty_to_full(parameters: str) -> None:
    """Limits: the voltages at which the cell is taken as empty and full, and none twice in between."""
    tabulated = table(parameters)
    volts = tabulated.open_v(np.linspace(0.0, 1.0, 101), 25.0 + CELSIUS_K)
    assert volts[0] == pytest.approx(tabulated.cell.empty_v, abs=0.02)
    assert volts[-1] == pytest.approx(4.2, abs=0.005)
    assert np.all(np.diff(volts) > 0.0)


def test_same_number_gives_the_same_pack_again() -> None:
    assert history("Chen2020", 4) == history("Chen2020", 4)
    assert history("Chen2020", 4) != history("Chen2020", 5)


def drawn(**habits: object) -> list[SimulatedPack]:
    return [history(make, number, Habits(**habits)) for make in ("Chen2020", "Ecker2015") for number in range(6)]  # type: ignore[arg-type]


def test_cells_in_series_pass_the_same_charge() -> None:
    for pack in drawn(fade_per_run=0.0):
        for run in pack.runs:
            passed = (np.array(run.soc_before) - np.array(run.soc_after)) * np.array(pack.capacity_ah)
            assert passed == pytest.approx(run.used_ah, rel=1e-9)


def test_count_is_what_was_used_within_what_a_charger_is_unsure_by() -> None:
    """Three standard uncertainties of 1.5 %, and what was lost by standing and filled up differently."""
    off = []
    for pack in drawn():
        for run, charge in zip(pack.runs, pack.history.charges[1:], strict=True):
            assert charge.put_back_ah is not None
            off.append(charge.put_back_ah / run.used_ah - 1.0)
    assert 0.008 < np.std(off) < 0.025
    assert abs(np.mean(off)) < 0.02
    assert np.max(np.abs(off)) < 0.08


def test_cells_differ_as_asked() -> None:
    spread = [np.std(pack.capacity_ah, ddof=1) / np.mean(pack.capacity_ah) for pack in drawn(cells=6)]
    assert np.mean(spread) == pytest.approx(CELL_SD, rel=0.3)
    for pack in drawn(weak_cell=True):
        assert pack.weak_cell is not None
        weak = pack.capacity_ah[pack.weak_cell - 1]
        others = np.delete(np.array(pack.capacity_ah), pack.weak_cell - 1)
        assert weak / others.mean() == pytest.approx(WEAK)
        assert weak == min(pack.capacity_ah)


def test_a_restless_cell_is_emptier_before_each_run() -> None:
    for pack in drawn(restless_per_month=0.2):
        assert pack.restless_cell is not None
        before = np.mean([run.soc_before for run in pack.runs], axis=0)
        assert int(np.argmin(before)) == pack.restless_cell - 1


def test_only_what_is_asked_for_is_written_down() -> None:
    for pack in drawn(counted=first(3), uncounted_written=False):
        assert len(pack.history.charges) == 4
        assert [run.counted for run in pack.runs] == [True] * 3 + [False] * 7
    for pack in drawn(counted=never):
        assert all(charge.put_back_ah is None and charge.goal == "full" for charge in pack.history.charges)
        assert len(pack.history.charges) == 11
    for pack in drawn(totals_only=True, loaded_every=2):
        assert all(len(run.before_v) == len(run.after_v) == 1 and 8.0 < run.after_v[0] < 12.7 for run in pack.history.runs)
        assert [bool(run.loaded_v) for run in pack.history.runs] == [True, False] * 5


def test_deep_runs_go_below_the_floor_and_ordinary_ones_hardly_ever() -> None:
    floor_v = {"lipo": 3.0, "liion": 2.5}
    shares = []
    for share in (0.0, 0.5):
        packs = drawn(deep_share=share)
        shares.append(np.mean([v < floor_v[pack.history.pack.chemistry] for pack in packs for run in pack.runs for v in run.lowest_v]))
    assert shares[0] < 0.04
    assert shares[1] > 0.12


def test_slips_touch_the_share_of_rows_they_should() -> None:
    """Everything else stays as it was written, and the truth with it."""
    changed = rows = 0
    for sound in drawn(runs=20):
        spoilt = with_slips(sound, 0.05)
        assert spoilt.runs == sound.runs
        sound_rows = {*sound.history.runs, *sound.history.charges}
        spoilt_rows = {*spoilt.history.runs, *spoilt.history.charges}
        rows += len(sound_rows)
        changed += len(sound_rows - spoilt_rows)
        assert bool(sound_rows - spoilt_rows) == bool(spoilt.slips)
        touched = {run.started_at for run in sound.history.runs} & set(spoilt.slips)
        assert touched == set(spoilt.slips)
        assert all(run in sound.history.runs for run in spoilt.history.runs if run.started_at not in spoilt.slips)
    assert 0.02 < changed / rows < 0.08
