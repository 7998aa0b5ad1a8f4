"""What must hold of a recommended cutoff whatever the figures are: limits and comparisons, nothing published."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterator
from itertools import pairwise

import numpy as np
import pytest

from tests.tracker.estimators.planned_packs import CAPACITY_AH, advised_v, in_time, known_closely, load_of, pack_of, planned, setup_for
from tracker import chemistry
from tracker.domain.planning import CutoffPlan
from tracker.domain.results import Estimate, NotEnough
from tracker.estimators.cell_family import family
from tracker.estimators.cutoff import TRIP_SD_V, offered_cutoffs, upper_limit
from tracker.estimators.cutoff_scenes import GENTLE_C, RECEIVER_A, WARM_K, Setup, drawn_load, less_sure, versions_of
from tracker.estimators.drawn_packs import drawn_versions
from tracker.physics.load_profile import LoadProfile
from tracker.physics.pack_discharge import discharge
from tracker.physics.pack_draws import ControllerDraws

STEP_V = 0.1
OTHER_SEEDS = range(101, 104)
SETUPS = {
    "lipo as labelled": setup_for(),
    "lipo known": setup_for(states=known_closely(pack_of())),
    "lihv as labelled": setup_for(pack_of("lihv", 3)),
    "life known": setup_for(pack_of("life"), states=known_closely(pack_of("life"))),
    "liion as labelled": setup_for(pack_of("liion", 3), load=load_of(pack_of("liion", 3), 0.7)),
    "nimh known": setup_for(pack_of("nimh", 6), states=known_closely(pack_of("nimh", 6))),
}
REDRAWN = ("lipo as labelled", "lipo known", "liion as labelled", "nimh known")


def redrawn_risk(setup: Setup, cutoff_v: float, seed: int, *, gentle: bool, pack_k: float = 298.15, draws: int = 1024) -> float:
    """Share of packs with a cell below the floor, by `discharge` of one controller set to the cutoff."""
    cells = family(setup.pack.chemistry)
    load = setup.load
    if gentle:
        load = load_of(setup.pack, GENTLE_C, burst=1.0)
    versions = versions_of(setup, seed=seed, draws=draws).at(WARM_K if gentle else pack_k)
    profile, end_s = in_time(load, draws, seed)
    error_v = TRIP_SD_V * np.random.default_rng(seed).standard_normal(draws)
    one = ControllerDraws(mode="pack_v", trip_v=cutoff_v + error_v)
    run = discharge(versions, [one], profile, end_s=end_s, receiver_a=RECEIVER_A, longest_step_s=end_s)
    return float((run.lowest_cell_v.min(axis=1) < cells.chemistry["floor_v"]).mean())


@pytest.mark.parametrize("setup", SETUPS.values(), ids=SETUPS)
def test_a_row_of_cutoffs(setup: Setup) -> None:
    """Risk never rises and usable charge never grows as the cutoff goes up; what is advised is in the row."""
    plan = planned(setup)
    risks, charges, times = (
        [getattr(point, name) for point in plan.curve] for name in ("below_floor_probability", "usable_ah", "run_s")
    )  # fmt: skip
    assert len(plan.curve) > 10
    assert (risks[0], risks[-1]) == (pytest.approx(1.0, abs=0.35), pytest.approx(0.0, abs=0.01))
    for values in (risks, charges, times):
        assert values == sorted(values, reverse=True)
    assert plan.recommended is not None
    assert plan.recommended.pack_v in offered_cutoffs(setup.pack, family(setup.pack.chemistry))
    assert plan.recommended.pack_v / STEP_V == pytest.approx(round(plan.recommended.pack_v / STEP_V))
    assert plan.recommended.cell_v == pytest.approx(plan.recommended.pack_v / setup.pack.series)
    assert plan.recommended.below_floor_probability <= 0.01
    at = next(point for point in plan.curve if point.pack_v == plan.recommended.pack_v)
    assert isinstance(plan.recommended.usable_ah, Estimate)
    assert at.usable_ah == pytest.approx(plan.recommended.usable_ah.value)
    below = [point for point in plan.curve if point.pack_v < plan.recommended.pack_v]
    assert all(upper_limit(point.below_floor_probability, plan.draws) > 0.01 for point in below)


@pytest.mark.parametrize("setup", [SETUPS[name] for name in REDRAWN], ids=REDRAWN)
def test_the_wanted_risk_is_kept_when_drawn_again(setup: Setup) -> None:
    """Three other seeds, by another way through the physics. Each may exceed by its own chance, all together may not."""
    wanted, draws = 0.02, 1024
    advised = advised_v(planned(setup, risk=wanted, draws=2048))
    assert math.isfinite(advised)
    for gentle in (False, True):
        risks = [redrawn_risk(setup, advised, seed, gentle=gentle, draws=draws) for seed in OTHER_SEEDS]
        assert np.mean(risks) <= wanted + 1.645 * np.sqrt(wanted * (1.0 - wanted) / (draws * len(risks)))
        assert max(risks) <= wanted + 3.5 * np.sqrt(wanted / draws)


def harder(which: str) -> Iterator[tuple[float, Setup]]:
    """The same pack at a temperature, from easy to hard in one respect."""
    pack = pack_of()
    if which == "spread":
        yield from ((25.0, setup_for(states=known_closely(pack, apart_sd=sd))) for sd in (0.002, 0.02, 0.05))
    elif which == "colder":
        yield from ((pack_c, setup_for(states=known_closely(pack))) for pack_c in (45.0, 25.0, 0.0, -10.0))
    elif which == "colder, as labelled":
        yield from ((pack_c, setup_for()) for pack_c in (25.0, 0.0, -20.0))
    elif which == "weaker cell":
        yield from ((25.0, setup_for(states=known_closely(pack, log_capacity=(0.0, weak)))) for weak in (0.0, -0.12, -0.25))
    elif which == "resistance":
        yield from ((25.0, setup_for(states=known_closely(pack, log_resistance=risen))) for risen in (-0.7, 0.3, 1.2))
    else:
        yield from ((25.0, setup_for(states=known_closely(pack), load=load_of(pack, c_rate))) for c_rate in (0.5, 4.0, 12.0, 20.0))


@pytest.mark.parametrize("which", ["spread", "colder", "colder, as labelled", "weaker cell", "resistance", "load"])
def test_harder_never_means_lower(which: str) -> None:
    """Of resistance, and so of cold, a step is let go: driven gently, it lowers the total by more than the weakest cell, and so the cutoff a little."""
    found = [advised_v(planned(setup, pack_c=pack_c, draws=1024)) for pack_c, setup in harder(which)]
    less_v = STEP_V + 1e-9 if which in {"resistance", "colder"} else 0.0
    assert all(then >= before - less_v for before, then in pairwise(found))
    if which in {"spread", "weaker cell"}:
        assert found[-1] > found[0]


def test_a_lower_wanted_risk_never_means_a_lower_cutoff() -> None:
    found = [advised_v(planned(setup_for(), risk=risk, draws=2048)) for risk in (0.5, 0.1, 0.01, 0.002)]
    assert found == sorted(found)
    assert found[0] < found[2]


@pytest.mark.parametrize("name", ["lipo as labelled", "lipo known"])
def test_more_draws_change_the_answer_by_a_step_at_most(name: str) -> None:
    few, many = (advised_v(planned(SETUPS[name], draws=draws)) for draws in (1024, 4096))
    assert abs(few - many) <= STEP_V + 1e-9


def test_what_is_known_of_a_pack_is_said_and_used() -> None:
    typical, known = planned(setup_for()), planned(setup_for(states=known_closely(pack_of())))
    assert (typical.learned, known.learned) == (False, True)
    assert "typical of its chemistry" in typical.reason
    assert "its own history" in known.reason
    assert "typical" not in known.reason
    assert typical.reason.count(". ") == 1  # two sentences
    weak = planned(setup_for(states=known_closely(pack_of(), log_capacity=(0.02, -0.14))))
    assert advised_v(weak) >= advised_v(known) + 2 * STEP_V


def test_a_matched_known_lithium_pack_lets_go_where_people_have_it_let_go() -> None:
    """Common practice, no source: two cells altered for lithium at 6.4 to 6.5 V, and a little more for safety."""
    for c_rate in (1.0, 4.0, 8.0):
        plan = planned(setup_for(states=known_closely(pack_of()), load=load_of(pack_of(), c_rate)))
        assert 6.2 <= advised_v(plan) <= 6.8


@pytest.mark.parametrize("name", ["lipo as labelled", "lipo known", "life known", "nimh known"])
def test_the_timer_leaves_the_reserve_nine_times_in_ten(name: str) -> None:
    """Drawn again and run until the timer by `discharge`, with no cutoff: neither reserve nor floor is gone below in one of ten."""
    setup, draws = SETUPS[name], 2048
    plan = planned(setup, draws=2048)
    assert isinstance(plan.timer_s, Estimate)
    cells = family(setup.pack.chemistry)
    versions = drawn_versions(setup.pack, less_sure(setup), cells, count=draws, lead_ohm=0.0, seed=77).at(298.15)
    profile, _ = drawn_load(setup.load, draws, 77)
    never = ControllerDraws(mode="none", powers_receiver=True)
    run = discharge(versions, [never], profile, end_s=plan.timer_s.value, receiver_a=RECEIVER_A)
    left = (run.soc.min(axis=1) >= plan.reserve_soc) & (run.lowest_cell_v.min(axis=1) >= plan.floor_v)
    allowed = 1.645 * math.sqrt(0.1 * 0.9 / draws)
    assert 0.9 - allowed - 0.01 <= left.mean() <= 0.96
    assert plan.timer_s.low <= plan.timer_s.value <= plan.timer_s.high


def test_a_load_under_which_nothing_keeps_the_risk() -> None:
    plan = planned(setup_for(load=load_of(pack_of(), 80.0)), pack_c=-20.0)
    assert plan.recommended is None
    assert isinstance(plan.timer_s, NotEnough)
    assert plan.reason.startswith("No cutoff")
    assert "take less current" in plan.reason


def test_a_cutoff_that_ends_the_run_at_once_is_not_advised() -> None:
    """Where a cutoff keeps the risk only by leaving next to nothing of the charge to use, none is advised."""
    for setup in (
        setup_for(pack_of("liion"), load=load_of(pack_of("liion"), 4.0)),
        setup_for(pack_of("nimh", 7), load=load_of(pack_of("nimh", 7), 4.0)),
    ):
        plan = planned(setup, risk=0.02)
        assert plan.curve[-1].below_floor_probability < 0.015
        assert plan.recommended is None
        assert "hardly" in plan.reason


@pytest.mark.parametrize("chemistry_name", chemistry.names())
@pytest.mark.parametrize("series", [1, 6])
def test_every_chemistry_gives_numbers(chemistry_name: str, series: int) -> None:
    pack = pack_of(chemistry_name, series)
    for pack_c in (-20.0, 60.0):
        plan = planned(setup_for(pack), pack_c=pack_c, draws=128)
        assert [value for value in numbers(plan) if not math.isfinite(value)] == []
        assert [point for point in plan.curve if not 0.0 <= point.below_floor_probability <= 1.0] == []
        sensible = [point for point in plan.curve if point.pack_v >= plan.floor_v * series]
        assert sensible
        assert [point for point in sensible if not 0.0 < point.usable_ah <= 1.5 * CAPACITY_AH] == []


def numbers(record: object) -> Iterator[float]:
    """Every number in a plan."""
    if isinstance(record, (float, int)):
        yield float(record)
    elif isinstance(record, tuple):
        for each in record:
            yield from numbers(each)
    elif dataclasses.is_dataclass(record) and not isinstance(record, type):
        for field in dataclasses.fields(record):
            yield from numbers(getattr(record, field.name))


def test_more_cells_mean_more_volts_and_no_less_a_cell() -> None:
    """With more cells in a row a weak one is both likelier and further below what the total shows."""
    plans: list[CutoffPlan] = [
        planned(setup_for(pack_of(series=series), states=known_closely(pack_of(series=series), apart_sd=0.02))) for series in (1, 2, 6)
    ]
    chosen = [plan.recommended for plan in plans if plan.recommended is not None]
    assert len(chosen) == 3
    assert [choice.cell_v for choice in chosen] == sorted(choice.cell_v for choice in chosen)


def test_leads_lower_what_the_controller_sees() -> None:
    """The drop in the leads makes it let go sooner: less risk, less charge at each cutoff of the row."""
    states = known_closely(pack_of())
    short, long = (planned(setup_for(states=states, lead_ohm=ohm)) for ohm in (0.0, 0.02))
    assert sum(point.below_floor_probability for point in long.curve) <= sum(point.below_floor_probability for point in short.curve)
    for at_once, through in zip(short.curve, long.curve, strict=True):
        assert through.usable_ah <= at_once.usable_ah + 1e-9
    assert long.curve[-8].usable_ah < 0.9 * short.curve[-8].usable_ah


@pytest.mark.parametrize(("share", "count", "limit"), [(0.0, 100, 0.02634), (0.01, 2048, 0.014318)])
def test_the_upper_limit_of_a_share(share: float, count: int, limit: float) -> None:
    """Worked by hand from Wilson (1927): (p + z2/2n + z sqrt(p(1-p)/n + z2/4n2)) / (1 + z2/n), z = 1.645."""
    assert upper_limit(share, count) == pytest.approx(limit, abs=2e-5)
    assert upper_limit(share, count) > upper_limit(share, 10 * count) > share


def test_the_load_that_is_drawn_is_the_load_that_is_told() -> None:
    setup = SETUPS["lipo known"]
    profile, mean_a = drawn_load(setup.load, 4096, 3)
    assert isinstance(profile, LoadProfile)
    np.testing.assert_allclose(profile.mean_a, mean_a, rtol=1e-9)
    assert mean_a.mean() == pytest.approx(20.0, rel=0.01)
    assert mean_a.std() == pytest.approx(2.0, rel=0.05)
    assert profile.current_a[1].mean() == pytest.approx(40.0, rel=0.02)
    assert np.all(profile.current_a[1] >= profile.current_a[0])
    assert np.all(profile.current_a >= 0)
