"""How a pack stands now. Limits checked: 80 % while standing (Werner et al. 2021), days and minutes common practice."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest

from tracker.domain.pack import Pack
from tracker.domain.results import AssessedRun, CellDepth, Estimate, Finding, NotEnough, PackState, RunEstimate
from tracker.domain.session import Charge, Run
from tracker.estimators.charge_now import charge_now
from tracker.estimators.history import PackHistory
from tracker.estimators.standing import pack_state
from tracker.rules.wording import span

NOON = datetime(2025, 7, 5, 12, 0, tzinfo=UTC)
UNTOLD = NotEnough("nothing was read")


def pack(chemistry: str = "lipo", **changes: Any) -> Pack:
    return Pack(**{"name": "Tug 1", "chemistry": chemistry, "series": 2, "capacity_ah": 5.0, **changes})


def charge(days: float = 0.0, **changes: Any) -> Charge:
    return Charge(**{"pack": "Tug 1", "finished_at": NOON + timedelta(days=days), "goal": "full", **changes})


def run(*cells: tuple[float | None, str | None], days: float = 0.0, **changes: Any) -> AssessedRun:
    started_at = NOON + timedelta(days=days)
    depths = tuple(
        CellDepth(
            cell=number,
            soc_before=UNTOLD,
            soc_after=UNTOLD if left is None else Estimate(value=left, low=left - 0.05, high=left + 0.03, sd=0.025),
            lowest_loaded_v=UNTOLD,
            below_floor_probability=None,
            below_reserve_probability=None,
            below_half_reserve_probability=None,
            grade=grade,
        )
        for number, (left, grade) in enumerate(cells, start=1)
    )
    told = RunEstimate(model="1", used_ah=UNTOLD, evidence=(), cells=depths)
    return AssessedRun(run=Run(**{"pack": "Tug 1", "started_at": started_at, "run_s": 600.0, **changes}), estimate=told)


def stop(rule: str, at: datetime | None, subject: str = "Tug 1", severity: str = "stop") -> Finding:
    return Finding(rule=rule, severity=severity, subject=subject, message="m.", why="w.", at=at)


def state(
    *,
    of: Pack | None = None,
    runs: tuple[AssessedRun, ...] = (),
    charges: tuple[Charge, ...] = (),
    findings: tuple[Finding, ...] = (),
    days: float = 1.0,
    **more: Any,
) -> PackState:
    history = PackHistory(pack=of or pack(), runs=tuple(each.run for each in runs), charges=charges)
    return pack_state(history, runs, findings, NOON + timedelta(days=days), **more)


def value(quantity: object) -> float:
    assert isinstance(quantity, Estimate), quantity
    assert 0 <= quantity.low <= quantity.value <= quantity.high <= 1
    return quantity.value


FINE = ((0.30, "fine"), (0.24, "fine"))


def test_nothing_known() -> None:
    found = state()
    assert (found.state, found.runs, found.deep_runs, found.last_used_at, found.last_grade, found.deepest_cell) == (
        "unknown",
        0,
        0,
        None,
        None,
        None,
    )
    assert isinstance(found.soc, NotEnough)
    assert isinstance(found.last_depth, NotEnough)
    assert isinstance(found.health, NotEnough)


def test_charged_yesterday_is_ready() -> None:
    found = state(charges=(charge(),))
    assert found.state == "ready"
    assert value(found.soc) == pytest.approx(0.999, abs=0.001)


def test_after_a_run_it_wants_charging_and_tells_its_deepest_cell() -> None:
    found = state(charges=(charge(-0.1),), runs=(run(*FINE),))
    assert (found.state, found.deepest_cell, found.last_grade, found.runs) == ("charge", 2, "fine", 1)
    assert found.next == "Charge it before use: about 27 % left."
    assert value(found.soc) == pytest.approx(0.27, abs=0.001)
    assert isinstance(found.last_depth, Estimate)
    assert (found.last_depth.value, found.last_depth.low, found.last_depth.high) == pytest.approx((0.76, 0.73, 0.81))
    assert found.last_used_at == NOON


@pytest.mark.parametrize(
    ("minutes", "pack_k", "word"),
    [(14, None, "rest"), (16, None, "charge"), (50, 320.0, "rest"), (61, 320.0, "charge"), (16, 310.0, "charge")],
)
def test_just_run_it_rests(minutes: float, pack_k: float | None, word: str) -> None:
    ended_minutes = 10 + minutes  # the run itself takes 10 min
    assert state(runs=(run(*FINE, pack_k=pack_k),), days=ended_minutes / 1440).state == word


def test_the_next_step_counts_days_as_the_finding_beside_it_does() -> None:
    stood = timedelta(days=4.6)
    assert f"for {span(stood)}:" in state(charges=(charge(),), days=4.6).next


@pytest.mark.parametrize(
    ("chemistry", "days", "word"),
    [
        ("lipo", 2.9, "ready"),
        ("lipo", 3.1, "store"),
        ("life", 3.1, "store"),
        ("nimh", 3.1, "ready"),
        ("lead", 3.1, "ready"),
        ("lead", 60.0, "charge"),
    ],
)
def test_standing_full_depends_on_the_chemistry(chemistry: str, days: float, word: str) -> None:
    assert state(of=pack(chemistry), charges=(charge(),), days=days).state == word


def test_standing_half_full_is_no_worry_for_three_days_but_for_three_weeks() -> None:
    half = (run((0.6, "fine"), (0.6, "fine")),)
    assert state(runs=half, days=5).state == "charge"
    assert state(runs=half, days=21).state == "store"


def test_long_unused_and_low_is_measured_before_it_is_charged() -> None:
    found = state(runs=(run(*FINE),), days=40)
    assert found.state == "store"
    assert "2.00 V or less do not charge it" in found.next


def test_a_storage_charge_is_stored_at_the_middle_of_its_window() -> None:
    found = state(charges=(charge(goal="storage"),))
    assert found.state == "store"
    assert 0.4 < value(found.soc) < 0.65  # published LCO curve: 3.75…3.85 V is 36…62 %; other makes stand a little higher


def test_partial_charges() -> None:
    before = run((0.2, "fine"), (0.2, "fine"))
    told = state(runs=(before,), charges=(charge(0.5, goal="partial", put_back_ah=2.0),))
    assert value(told.soc) == pytest.approx(0.6, abs=0.02)  # 0.2 + 2.0 / 5.0
    assert state(charges=(charge(goal="partial"),)).state == "unknown"
    by_voltage = state(charges=(charge(goal="partial", end_v=(7.7,)),))
    assert 0.4 < value(by_voltage.soc) < 0.75


def test_self_discharge_counts_and_widens() -> None:
    history = PackHistory(pack=pack("nimh"), charges=(charge(),))
    soon, later = (charge_now(history, (), NOON + timedelta(days=days)) for days in (0.0, 365.25 / 12))
    assert isinstance(soon, Estimate)
    assert isinstance(later, Estimate)
    # 30 % a month: the reference table of self-discharge for NiMH in its chemistry file.
    assert later.value == pytest.approx(0.7, abs=1e-9)
    assert later.sd > 3 * soon.sd


def test_unreadable_last_run_is_unknown_not_guessed() -> None:
    found = state(charges=(charge(-0.1),), runs=(run((None, None), (None, None)),))
    assert found.state == "unknown"
    assert isinstance(found.soc, NotEnough)
    assert isinstance(found.last_depth, NotEnough)
    assert found.last_grade is None


def test_deep_runs_are_counted_and_the_worst_grade_told() -> None:
    runs = (run((0.05, "deep"), (0.2, "fine")), run((0.0, "damaging"), (0.05, "deep"), days=1), run((0.15, "low"), (0.3, "fine"), days=2))
    found = state(runs=runs, days=3)
    assert (found.runs, found.deep_runs, found.last_grade, found.deepest_cell) == (3, 2, "low", 1)


def test_retired_by_its_owner() -> None:
    found = state(of=pack(retired_on=date(2025, 7, 1)), charges=(charge(),))
    assert found.state == "retire"
    assert "2025-07-01" in found.next


@pytest.mark.parametrize("rule", ["do-not-recharge", "charged-below-limit"])
def test_a_harmed_pack_stays_out_of_use_whatever_came_after(rule: str) -> None:
    found = state(charges=(charge(),), runs=(run(*FINE, days=-5),), findings=(stop(rule, NOON - timedelta(days=5)),))
    assert found.state == "retire"
    assert found.next.startswith("Do not charge or use it")
    assert "maker's instructions" in found.next


def test_findings_about_others_or_milder_ones_do_not_retire_it() -> None:
    for finding in (
        stop("do-not-recharge", NOON, subject="Tug 2"),
        stop("do-not-recharge", NOON, severity="caution"),
        stop("cutoff-under-floor", NOON),
    ):
        assert state(charges=(charge(),), findings=(finding,)).state == "ready"


def test_after_a_damaging_run_it_is_checked_not_charged() -> None:
    found = state(runs=(run((0.0, "damaging"), (0.2, "low")),), days=2)
    assert found.state == "rest"
    assert found.next.startswith("Do not charge or use it yet")


@pytest.mark.parametrize("rule", ["over-charge-limit", "charged-cold", "charged-hot"])
def test_after_a_harmful_charge_it_is_checked_not_used(rule: str) -> None:
    assert state(charges=(charge(),), findings=(stop(rule, NOON),)).state == "rest"
    later = state(charges=(charge(-3), charge()), findings=(stop(rule, NOON - timedelta(days=3)),))
    assert later.state == "ready"
    assert "may have been harmed earlier" in later.next


def test_past_damage_is_still_told_when_it_was_charged_again() -> None:
    assert "may have been harmed earlier" in state(runs=(run((0.0, "damaging"), (0.2, "low"), days=-1),), charges=(charge(),)).next


@pytest.mark.parametrize(("capacity_ah", "word"), [(2.9, "retire"), (3.1, "ready")])
def test_spent_at_six_tenths_of_rated(capacity_ah: float, word: str) -> None:
    # IEC 61960-3 ends its endurance test at 60 % of rated (from memory).
    capacity = Estimate(value=capacity_ah, low=capacity_ah - 0.1, high=capacity_ah + 0.1, sd=0.06)
    found = state(charges=(charge(),), capacity=capacity)
    assert found.state == word
    assert value(found.health) == pytest.approx(capacity_ah / 5.0)


def test_not_spent_while_it_may_as_well_hold_more() -> None:
    capacity = Estimate(value=2.9, low=2.1, high=3.7, sd=0.5)
    assert state(charges=(charge(),), capacity=capacity).state == "ready"
