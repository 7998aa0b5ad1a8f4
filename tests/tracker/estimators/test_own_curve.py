"""The pack's own voltage curve: learned from counted runs, and how sure."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray

from tests.tracker.estimators.written_packs import Driven, Written, driven
from tracker.domain.health import OwnCurve
from tracker.domain.results import Estimate
from tracker.estimators.assess import assess_packs
from tracker.estimators.cell_family import family
from tracker.physics.uncertainty import COVERAGE_FACTOR_90

FloatArray = NDArray[np.float64]

PACKS = 16
DEPTHS = (0.3, 0.6, 0.8, 0.45, 0.85, 0.7)
SEEN_SOC = (0.2, 0.95)
"""Between these runs of such depths show the curve."""


@cache
def packs(chemistry: str) -> list[tuple[FloatArray, Written]]:
    """Packs whose curves are drawn from the spread between makes, and twelve counted runs of each down to several depths."""
    rng, curve, found = np.random.default_rng(17), family(chemistry).curve, list[tuple[FloatArray, Written]]()
    grid = np.linspace(0.0, 1.0, 101)
    while len(found) < PACKS:
        own = rng.normal(0.0, 1.0, curve.shape_count)
        if np.diff(grid + curve.shape_values(grid) @ own).min() < 0.002:
            continue  # a cell whose voltage fell while it was charged would be no cell
        capacity = tuple((0.98 + rng.normal(0.0, 0.05) + rng.normal(0.0, 0.02, 3)).tolist())
        how = Driven(chemistry=chemistry, deviation=tuple(own.tolist()), capacity=capacity, noise_v=0.003, seed=len(found), depths=DEPTHS)
        found.append((own, driven(how)))
    return found


def between(soc: FloatArray) -> NDArray[np.bool_]:
    return np.asarray((soc >= SEEN_SOC[0]) & (soc <= SEEN_SOC[1]))


@pytest.fixture(scope="module", params=["lipo", "lihv", "liion"])
def found(request: pytest.FixtureRequest) -> list[tuple[FloatArray, OwnCurve]]:
    """True curve at the places the learned one is given at, and the learned one."""
    drawn = packs(request.param)
    curve = family(request.param).curve
    learned = [assess_packs([written.history], {}, {})[0].learning.curve for _, written in drawn]
    return [(curve.voltage(np.array(each.soc), own), each) for (own, _), each in zip(drawn, learned, strict=True)]


def test_the_own_curve_lies_nearer_the_truth_than_the_familys(found: list[tuple[FloatArray, OwnCurve]]) -> None:
    """Limit: for most packs, and for all together by far."""
    errors = []
    for true_v, curve in found:
        seen = between(np.array(curve.soc))
        own, of_family = (np.square(np.array(volts) - true_v)[seen].mean() for volts in (curve.own_v, curve.family_v))
        errors.append((own, of_family))
    assert sum(own < of_family for own, of_family in errors) >= 10
    own, of_family = np.sqrt(np.mean(errors, axis=0))
    assert own < 0.6 * of_family


def test_its_band_is_narrower_than_the_spread_between_makes(found: list[tuple[FloatArray, OwnCurve]]) -> None:
    """Limit: of every pack, and on the whole by more than a third."""
    shares = []
    for _, curve in found:
        seen = between(np.array(curve.soc))
        width = (np.array(curve.own_high_v) - np.array(curve.own_low_v))[seen]
        assert width.min() >= 0.0
        shares.append(float(np.median(width / family_width(curve)[seen])))
    assert sum(curve.learned for _, curve in found) >= 5
    assert max(shares) < 0.9
    assert np.mean(shares) < 0.65


def family_width(curve: OwnCurve) -> FloatArray:
    """Of the band in which nine of ten makes lie, from an untouched pack of the same chemistry."""
    for chemistry in ("lipo", "lihv", "liion"):
        kind = family(chemistry).curve
        soc = np.array(curve.soc)
        if np.allclose(kind.voltage(soc), curve.family_v):
            half = COVERAGE_FACTOR_90 * np.sqrt(np.square(kind.shape_values(soc)).sum(axis=1))
            return np.asarray(kind.voltage(soc + half) - kind.voltage(soc - half))
    raise AssertionError("a curve of no family")


def test_its_band_holds_the_truth_as_often_as_it_says(found: list[tuple[FloatArray, OwnCurve]]) -> None:
    """Limit: 90 % intervals, over all packs and places; rather wide than wrong."""
    inside = [
        ((np.array(curve.own_low_v) <= true_v) & (true_v <= np.array(curve.own_high_v)))[between(np.array(curve.soc))].mean()
        for true_v, curve in found
    ]
    assert np.mean(inside) >= 0.88
    assert min(inside) >= 0.4


def test_before_anything_was_learned_it_is_the_familys() -> None:
    """Limit: no run, one voltage alone."""
    _, written = packs("lipo")[0]
    nothing = assess_packs([replace(written.history, runs=())], {}, {})[0].learning.curve
    assert nothing.own_v == pytest.approx(nothing.family_v)
    assert not nothing.learned
    assert nothing.readings == ()
    alone = replace(written.history, runs=written.history.runs[:1], charges=())
    assert not assess_packs([alone], {}, {})[0].learning.curve.learned


def test_the_readings_beside_it_are_those_written_down() -> None:
    """Limit: one for every cell before and after every run, by number and time, at the charge the cell had."""
    own, written = packs("lipo")[1]
    curve = assess_packs([written.history], {}, {})[0].learning.curve
    assert len(curve.readings) == 2 * 3 * len(written.history.runs)
    assert {reading.at for reading in curve.readings} == {run.started_at for run in written.history.runs}
    by_run = {run.started_at: soc for run, soc in zip(written.history.runs, written.soc_after, strict=True)}
    after = [reading for reading in curve.readings if reading.soc < 0.9]
    assert len(after) == 3 * len(written.history.runs)
    for reading in after:
        assert reading.cell is not None
        assert reading.soc == pytest.approx(by_run[reading.at][reading.cell - 1], abs=0.10)
        assert reading.voltage_v == pytest.approx(float(family("lipo").curve.voltage(by_run[reading.at][reading.cell - 1], own)), abs=0.02)
        assert 0.0 < reading.weight <= 1.0


def test_totals_are_readings_of_the_mean_cell() -> None:
    """Limit: one a run and side, of no cell, as a cell's voltage."""
    _, written = packs("lipo")[2]
    totals = tuple(replace(run, before_v=(sum(run.before_v),), after_v=(sum(run.after_v),)) for run in written.history.runs)
    curve = assess_packs([replace(written.history, runs=totals)], {}, {})[0].learning.curve
    assert len(curve.readings) == 2 * len(totals)
    assert {reading.cell for reading in curve.readings} == {None}
    assert all(3.0 < reading.voltage_v < 4.3 for reading in curve.readings)


def test_a_slip_is_shown_set_aside() -> None:
    """Limit: a cell's reading half a volt too low keeps no weight beside the curve and moves it hardly."""
    _, written = packs("lipo")[3]
    run = written.history.runs[6]
    wrong = replace(run, after_v=(run.after_v[0], run.after_v[1] - 0.5, run.after_v[2]))
    runs = (*written.history.runs[:6], wrong, *written.history.runs[7:])
    sound, slipped = (
        assess_packs([history], {}, {})[0].learning.curve for history in (written.history, replace(written.history, runs=runs))
    )
    [lowest] = [each for each in slipped.readings if each.at == run.started_at and each.cell == 2 and each.soc < 0.9]
    assert lowest.weight < 0.1
    assert np.abs(np.array(sound.own_v) - np.array(slipped.own_v)).max() < 0.02


@pytest.mark.parametrize("chemistry", ["lipo", "lihv"])
def test_voltages_alone_are_read_better_by_it(chemistry: str) -> None:
    """Limit: of the last four runs, judged from voltages alone, what they took is nearer after eight counted runs than without."""
    with_counts: list[float] = []
    without: list[float] = []
    for _, written in packs(chemistry):
        charges = written.history.charges
        for kept, errors in ((8, with_counts), (0, without)):
            history = replace(
                written.history, charges=tuple(replace(each, put_back_ah=None) if at > kept else each for at, each in enumerate(charges))
            )
            for assessed, used_ah in list(zip(assess_packs([history], {}, {})[0].runs, written.used_ah, strict=True))[8:]:
                assert isinstance(assessed.estimate.used_ah, Estimate)
                errors.append(assessed.estimate.used_ah.value - used_ah)
    assert np.std(with_counts) < 0.5 * np.std(without)
    assert len(with_counts) == 4 * PACKS
