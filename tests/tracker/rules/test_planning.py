"""What a cutoff plan gives cause to say: one case that does, one just beside it that does not."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from tests.tracker.rules.evidence_maker import NOON, UNTOLD, controller, sure
from tracker.chemistry import load
from tracker.domain.controller import Controller
from tracker.domain.harm import DO_NOT_RECHARGE, TOO_DEEP
from tracker.domain.planning import CutoffChoice, CutoffPlan, CutoffPoint, CutoffTask, PlannedLoad, PresentCutoff, PresentState
from tracker.domain.results import SEVERITIES, Finding, NotEnough, PackState
from tracker.rules.planning import plan_findings

FLOOR_V = 3.0
NEVER = NotEnough("It has no cutoff.")
CURVE = tuple(
    CutoffPoint(pack_v=volts, below_floor_probability=risk, usable_ah=usable_ah, run_s=600.0)
    for volts, risk, usable_ah in ((5.0, 1.0, 5.0), (6.0, 0.6, 4.6), (6.4, 0.005, 4.2), (7.0, 0.0, 3.4), (7.4, 0.0, 2.0))
)
CHOICE = CutoffChoice(pack_v=6.4, cell_v=3.2, below_floor_probability=0.005, usable_ah=sure(4.2), run_s=sure(600.0))


def present(volts: float | None, risk: float, name: str = "Left") -> PresentCutoff:
    return PresentCutoff(
        controller=name, trip_v=NEVER if volts is None else sure(volts), tested=False, protects=volts is not None and risk <= 0.01,
        below_floor_probability=risk, verdict="",
    )  # fmt: skip


def plan(*controllers: PresentCutoff, together: float = 0.0, hours: Any = UNTOLD, guessed: bool = False, **changes: Any) -> CutoffPlan:
    made = CutoffPlan(
        task=CutoffTask(pack="Tug 1", vehicle="Pond tug"),
        series=2,
        floor_v=FLOOR_V,
        full_v=4.2,
        reserve_soc=0.2,
        learned=True,
        load=PlannedLoad(mean_a=sure(20.0), burst_a=sure(40.0), basis="runs", guessed=guessed),
        recommended=CHOICE,
        reason="",
        timer_s=sure(540.0),
        present=controllers,
        together=PresentState(
            below_floor_probability=together, driven_on_probability=together, after_first_ah=sure(0.0), hours_to_floor=hours
        )
        if controllers
        else None,
        curve=CURVE,
        draws=1000,
    )
    return replace(made, **changes)


SOUND = PackState(
    pack="Tug 1", chemistry="lipo", series=2, capacity_ah=5.0, state="ready", next="Ready to use.", soc=sure(1.0), runs=3, deep_runs=0,
    last_used_at=NOON, last_depth=sure(0.5), last_grade="fine", deepest_cell=1, capacity=UNTOLD, health=UNTOLD,
)  # fmt: skip


def said(
    of: CutoffPlan, *, chemistry: str = "lipo", state: PackState = SOUND, known: dict[str, Controller] | None = None
) -> dict[str, Finding]:
    found = plan_findings(of, known or {}, load(chemistry), state)
    assert [SEVERITIES.index(finding.severity) for finding in found] == sorted(SEVERITIES.index(finding.severity) for finding in found)
    return {finding.rule: finding for finding in found}


def test_nothing_is_said_of_a_good_plan() -> None:
    assert said(plan(present(6.4, 0.005), together=0.005)) == {}
    assert said(plan()) == {}


def test_a_nickel_cutoff_on_a_lithium_pack_stops() -> None:
    """Common practice, no source: a controller meant for nickel lets go just over 5.0 V on two cells."""
    found = said(plan(present(5.05, 1.0, "Right"), present(6.5, 0.002), together=1.0))
    close = found["cutoff-too-close"]
    assert (close.severity, close.subject) == ("stop", "Right")
    for words in (
        "Right",
        "Tug 1",
        "5.05 V",
        "2.52 V a cell",
        "in over 99 % of runs",
        "3.00 V",
        "meant for nickel packs",
        "6.40 V",
        "bench",
    ):
        assert words in close.message
    undone = found["cutoff-undone"]
    assert (undone.severity, undone.subject) == ("stop", "Right")
    assert "Left would protect Tug 1" in undone.message


def test_a_much_safer_neighbour_is_undone_as_well() -> None:
    found = said(plan(present(5.06, 1.0, "Right"), present(6.43, 0.13), together=0.99))["cutoff-undone"]
    assert found.subject == "Right"
    assert "Left would bring a cell of Tug 1 below its floor only in 13 % of runs" in found.message
    assert "protect" not in found.message
    assert "cutoff-undone" not in said(plan(present(5.06, 1.0, "Right"), present(6.43, 0.7), together=0.99))


def test_a_little_too_low_is_a_caution_and_not_called_nickel() -> None:
    close = said(plan(present(6.2, 0.2), together=0.2))["cutoff-too-close"]
    assert close.severity == "caution"
    assert "in 20 % of runs" in close.message
    assert "nickel" not in close.message


def test_a_low_cutoff_on_a_nickel_pack_is_not_called_nickel() -> None:
    close = said(plan(present(1.2, 0.9), together=0.9, floor_v=0.9), chemistry="nimh")["cutoff-too-close"]
    assert "meant for nickel" not in close.message


def test_undone_only_where_one_protects_and_another_does_not() -> None:
    low, lower, high = present(6.2, 0.2, "A"), present(6.0, 0.6, "B"), present(6.6, 0.001, "C")
    assert "cutoff-undone" not in said(plan(low, lower, together=0.6))
    assert "cutoff-undone" not in said(plan(high, replace(high, controller="D"), together=0.001))
    assert "cutoff-undone" not in said(plan(low, together=0.2))
    found = said(plan(high, low, lower, together=0.3))["cutoff-undone"]
    assert (found.subject, found.severity) == ("B", "caution")
    assert said(plan(high, present(None, 1.0, "D"), together=1.0))["cutoff-undone"].subject == "D"


def test_a_controller_that_never_lets_go() -> None:
    off, unset = controller(None, "none", "Left"), controller(None, "pack_v", "Left")
    message = said(plan(present(None, 1.0), together=1.0), known={"Left": off})["no-cutoff-planned"].message
    for words in ("Left has no cutoff", "alarm that watches every cell", "timer at 9 min"):
        assert words in message
    found = said(plan(present(None, 1.0), together=1.0, timer_s=UNTOLD), known={"Left": unset})
    assert "no voltage is known" in found["no-cutoff-planned"].message
    assert "timer" not in found["no-cutoff-planned"].message
    assert "cutoff-too-close" not in found


def test_cells_are_miscounted_in_a_nearly_empty_pack_of_many() -> None:
    """Common practice, no source: six cells at 3.5 V look like five at 4.2 V; two cells look like no fewer."""
    counting = controller(3.3, "cell_v", "Left")
    found = said(plan(present(19.8, 0.001), together=0.001, series=6), known={"Left": counting})["cells-miscounted"]
    assert found.severity == "caution"
    for words in ("Left counts cells", "the 6 cells for 5", "16.50 V", "2.75 V a cell", "full pack only"):
        assert words in found.message
    assert "cells-miscounted" not in said(plan(present(6.6, 0.001), together=0.001), known={"Left": counting})
    by_pack = {"Left": controller(19.8, "pack_v", "Left")}
    assert "cells-miscounted" not in said(plan(present(19.8, 0.001), together=0.001, series=6), known=by_pack)


@pytest.mark.parametrize(("hours", "words"), [(0.4, "within the hour"), (7.2, "in about 7 h"), (49.0, None)])
def test_left_plugged_in(hours: float, words: str | None) -> None:
    found = said(plan(present(6.4, 0.005), hours=sure(hours)))
    if words is None:
        assert found == {}
    else:
        assert words in found["left-plugged-in"].message
        assert "Unplug it" in found["left-plugged-in"].message


def test_a_third_of_the_charge_never_used() -> None:
    found = said(plan(present(7.4, 0.0)))["cutoff-wasteful"]
    assert (found.severity, found.subject) == ("note", "Left")
    assert "2,000 mAh" in found.message
    assert "cutoff-wasteful" not in said(plan(present(7.0, 0.0)))
    assert "cutoff-wasteful" not in said(plan(present(7.4, 0.0), present(6.4, 0.005, "Right")))  # the lowest decides
    needed = replace(CHOICE, pack_v=7.4, cell_v=3.7)
    assert "cutoff-wasteful" not in said(plan(present(7.4, 0.0), recommended=needed))


def test_a_guessed_load() -> None:
    assert said(plan(guessed=True))["load-guessed"].subject == "Pond tug"


def test_no_cutoff_will_do() -> None:
    message = said(plan(present(6.2, 0.2), together=0.2, recommended=None))["cutoff-too-close"].message
    assert "No cutoff keeps the risk" in message
    assert "alarm on every cell" in message


HARM = Finding(rule=DO_NOT_RECHARGE, severity="stop", subject="Tug 1", message="Cell 1 rested at 1.80 V.", why="Such cells burn.", at=NOON)


@pytest.mark.parametrize(
    "state",
    [
        replace(SOUND, state="retire", next="Do not charge or use it.", findings=(HARM,)),
        replace(SOUND, state="rest", next="Do not charge or use it yet.", findings=(replace(HARM, rule=TOO_DEEP),)),
        replace(SOUND, state="rest", next="Do not charge or use it yet.", last_grade="damaging"),
        replace(SOUND, state="retire", next="Out of use since 2024-09-30."),
    ],
)
def test_a_harmed_or_retired_pack_comes_before_everything_else(state: PackState) -> None:
    found = said(plan(present(5.05, 1.0), together=1.0), state=state)
    first = next(iter(found.values()))
    assert (first.rule, first.severity, first.subject) == ("pack-not-to-be-run", "stop", "Tug 1")
    assert "Do not run Tug 1" in first.message
    assert state.next in first.message


def test_other_findings_about_a_pack_do_not_take_it_out_of_use() -> None:
    for finding in (replace(HARM, severity="caution"), replace(HARM, subject="Tug 2"), replace(HARM, rule="cutoff-below-floor")):
        assert said(plan(), state=replace(SOUND, findings=(finding,))) == {}
    for word in ("charge", "store", "unknown", "rest"):
        assert said(plan(), state=replace(SOUND, state=word)) == {}


def test_nothing_here_calls_a_pack_safe() -> None:
    retired = replace(SOUND, state="retire", next="Do not charge or use it.", findings=(HARM,))
    everything = said(plan(present(5.05, 1.0, "Right"), present(None, 1.0), hours=sure(1.0), guessed=True, together=1.0), state=retired)
    assert len(everything) >= 5
    for finding in everything.values():
        assert "safe" not in f"{finding.message} {finding.why}".lower()
        assert finding.why
        assert finding.subject in finding.message
