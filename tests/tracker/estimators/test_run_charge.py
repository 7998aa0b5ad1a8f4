"""One run at a time: limiting cases, slips of the pen, cold, several runs on one charge."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from tracker.domain.controller import Controller, Vehicle
from tracker.domain.pack import Pack
from tracker.domain.results import Estimate, NotEnough, RunEstimate
from tracker.domain.session import Charge, Run
from tracker.estimators.assess import assess_packs
from tracker.estimators.cell_family import family
from tracker.estimators.depth import grade_of
from tracker.estimators.history import PackHistory
from tracker.estimators.outings import cut
from tracker.estimators.readings import trip_cell_v

T0 = datetime(2026, 6, 6, 10, 0, tzinfo=UTC)
PACK = Pack(name="Heron", chemistry="lipo", series=2, capacity_ah=5.0)
TUG = Vehicle(name="Pond tug", usual_a=9.0)


def run(at_h: float = 0.0, **fields: object) -> Run:
    values: dict[str, object] = {"pack": PACK.name, "started_at": T0 + timedelta(hours=at_h), "run_s": 1200.0, **fields}
    return Run(**values)  # type: ignore[arg-type]


def charge(at_h: float, put_back_ah: float | None, goal: str = "full") -> Charge:
    return Charge(pack=PACK.name, finished_at=T0 + timedelta(hours=at_h), put_back_ah=put_back_ah, goal=goal)


def assessed(runs: list[Run], charges: list[Charge] | None = None, vehicle: Vehicle = TUG, pack: Pack = PACK) -> list[RunEstimate]:
    history = PackHistory(pack=pack, runs=tuple(runs), charges=tuple(charges or []))
    return [item.estimate for item in assess_packs([history], {vehicle.name: vehicle}, {})[0].runs]


def value(quantity: Estimate | NotEnough) -> Estimate:
    assert isinstance(quantity, Estimate), quantity
    return quantity


def test_nothing_read_is_no_estimate_in_words() -> None:
    [found] = assessed([run()])
    assert isinstance(found.used_ah, NotEnough)
    assert "voltage after rest" in found.used_ah.why
    assert found.evidence == ()
    assert [cell.grade for cell in found.cells] == [None, None]


def test_a_pack_that_reads_fuller_after_the_run_is_not_said_to_have_given_exactly_nothing() -> None:
    [found] = assessed([run(vehicle=None, before_v=(3.75, 3.75), after_v=(4.1, 4.1), rest_after_s=1800.0)])
    assert isinstance(found.used_ah, NotEnough)
    assert "fuller after the run" in found.used_ah.why
    # A run too short to show in the readings still has an answer: little, with room above it.
    [short] = assessed([run(vehicle=None, before_v=(4.1, 4.1), after_v=(4.1, 4.1), rest_after_s=1800.0)])
    assert value(short.used_ah).high > 0.0


def test_a_meter_alone_is_believed() -> None:
    [found] = assessed([run(used_ah=2.5)])
    used = value(found.used_ah)
    assert used.value == pytest.approx(2.5, abs=0.02)
    assert used.sd == pytest.approx(0.025 * 2.5, rel=0.25)
    assert [vote.kind for vote in found.evidence] == ["meter"]
    assert found.evidence[0].weight == 1.0


def test_a_count_alone_is_the_charge_between_two_full_charges_times_the_acceptance() -> None:
    [found] = assessed([run(vehicle=None)], [charge(-2, 3.0), charge(4, 3.0)])
    assert value(found.used_ah).value == pytest.approx(3.0 * family("lipo").chemistry["charge_acceptance"], rel=0.01)


def test_two_runs_on_one_charge_share_its_count() -> None:
    runs = [run(0, after_v=(3.93, 3.93), rest_after_s=3600.0), run(1.5, after_v=(3.75, 3.75), rest_after_s=3600.0)]
    first, second = assessed(runs, [charge(-2, None), charge(6, 3.4)])
    together = value(first.used_ah).value + value(second.used_ah).value
    assert together == pytest.approx(3.4 * family("lipo").chemistry["charge_acceptance"], rel=0.02)
    assert value(second.cells[0].soc_before).value == pytest.approx(value(first.cells[0].soc_after).value, abs=0.01)


def test_usual_draw_of_the_vehicle_stands_in_when_nothing_was_read() -> None:
    [found] = assessed([run(vehicle=TUG.name)], [charge(-2, None)])
    used = value(found.used_ah)
    assert used.value == pytest.approx(9.0 * 1200 / 3600, rel=0.1)
    assert used.high - used.low > 1.5
    assert [vote.kind for vote in found.evidence] == ["usual_draw"]


def test_what_a_vehicle_draws_is_learned_from_its_other_runs() -> None:
    runs = [run(24.0 * day, vehicle="Sand buggy", used_ah=3.0) for day in range(4)] + [run(120, vehicle="Sand buggy", run_s=600.0)]
    charges = [charge(24.0 * day + 6, None) for day in range(-1, 5)]
    found = assessed(runs, charges, Vehicle(name="Sand buggy"))
    last = value(found[-1].used_ah)
    assert last.value == pytest.approx(1.5, rel=0.1)
    assert [vote.kind for vote in found[-1].evidence] == ["usual_draw"]


def test_a_pack_total_says_what_its_cells_say() -> None:
    [cells] = assessed([run(before_v=(4.18, 4.18), after_v=(3.80, 3.80), rest_after_s=7200.0)])
    [total] = assessed([run(before_v=(8.36,), after_v=(7.60,), rest_after_s=7200.0)])
    assert value(total.used_ah).value == pytest.approx(value(cells.used_ah).value, rel=0.02)
    assert value(total.used_ah).sd >= 0.99 * value(cells.used_ah).sd


@pytest.mark.parametrize("wrong", [(3.80, 3.08), (3.08, 3.80), (8.30, 3.80), (3.80, 38.0)])
def test_a_slip_of_the_pen_is_named_and_does_not_move_the_answer(wrong: tuple[float, float]) -> None:
    # 3.1 Ah of 5.0 after a full charge: close to what the family's mean curve says at 3.80 V.
    charges = [charge(-2, None), charge(6, 2.55)]
    [right] = assessed([run(before_v=(4.19, 4.19), after_v=(3.80, 3.80), rest_after_s=7200.0)], charges)
    [found] = assessed([run(before_v=(4.19, 4.19), after_v=wrong, rest_after_s=7200.0)], charges)
    assert value(found.used_ah).value == pytest.approx(value(right.used_ah).value, abs=0.012 * PACK.capacity_ah)
    [votes] = [vote for vote in found.evidence if vote.kind == "rest_voltage"]
    bad = next(volts for volts in wrong if volts != 3.80)
    assert votes.disagrees
    assert f"{bad:.2f} V for cell {wrong.index(bad) + 1} after the run" in votes.words
    assert found.cells[wrong.index(bad)].grade is None, "a cell that may be misread or in trouble is not called fine"
    [clean] = [vote for vote in right.evidence if vote.kind == "rest_voltage"]
    assert not clean.disagrees


def test_counts_that_contradict_each_other_are_both_named() -> None:
    [found] = assessed([run(vehicle=None, used_ah=1.0)], [charge(-2, None), charge(6, 3.0)])
    assert {vote.kind for vote in found.evidence if vote.disagrees} == {"meter", "charger"}


def test_a_charger_count_with_a_slipped_point_leaves_the_answer_open_between_the_readings() -> None:
    reading: dict[str, Any] = {"vehicle": None, "before_v": (4.19, 4.19), "after_v": (3.79, 3.78), "rest_after_s": 3600.0}
    [right] = assessed([run(**reading)], [charge(-2, None), charge(6, 2.75)])
    [slipped] = assessed([run(**reading)], [charge(-2, None), charge(6, 0.275)])
    assert value(right.used_ah).sd < 0.1
    assert isinstance(slipped.used_ah, NotEnough) or slipped.used_ah.low <= 2.75 <= slipped.used_ah.high
    assert {cell.grade for cell in slipped.cells} == {None}
    [impossible] = assessed([run(**reading)], [charge(-2, None), charge(6, 27.5)])
    assert [vote.kind for vote in impossible.evidence] == ["rest_voltage"]


def test_what_is_found_of_a_pack_does_not_hang_on_which_packs_are_looked_at_together() -> None:
    buggy = Vehicle(name="Sand buggy")
    other = Pack(name="Other", chemistry="lipo", series=2, capacity_ah=5.0)
    taught = [Run(pack="Other", started_at=T0 + timedelta(days=day), run_s=900.0, vehicle=buggy.name, used_ah=3.0) for day in range(5)]
    first = PackHistory(pack=PACK, runs=(run(vehicle=buggy.name),), charges=())
    second = PackHistory(pack=other, runs=tuple(taught), charges=())
    alone = assess_packs([first], {buggy.name: buggy}, {})[0]
    assert assess_packs([second, first], {buggy.name: buggy}, {})[1].runs == alone.runs


def test_a_slipped_count_cannot_make_a_pack_fuller_than_full() -> None:
    [found] = assessed([run(vehicle=None, used_ah=3.0)], [charge(6, 0.03)])
    assert {vote.kind for vote in found.evidence if vote.disagrees} == {"meter", "charger"}
    assert {cell.grade for cell in found.cells} == {None}


def test_cold_lowers_the_loaded_voltage_but_not_what_a_rested_voltage_means() -> None:
    reading: dict[str, Any] = {"before_v": (4.19, 4.19), "after_v": (3.78, 3.78), "rest_after_s": 14400.0, "mean_a": 20.0, "run_s": 500.0}
    [warm] = assessed([run(pack_k=298.15, **reading)])
    [cold] = assessed([run(pack_k=273.15, **reading)])
    assert value(cold.used_ah).value == pytest.approx(value(warm.used_ah).value, rel=0.02)
    assert value(cold.cells[0].lowest_loaded_v).value < value(warm.cells[0].lowest_loaded_v).value - 0.1
    warm_p, cold_p = warm.cells[0].below_floor_probability, cold.cells[0].below_floor_probability
    assert warm_p is not None
    assert cold_p is not None
    assert cold_p > warm_p


def test_a_reading_soon_after_load_is_taken_as_low() -> None:
    base: dict[str, Any] = {"before_v": (4.19, 4.19), "after_v": (3.78, 3.78), "mean_a": 10.0}
    [soon] = assessed([run(rest_after_s=60.0, **base)])
    [late] = assessed([run(rest_after_s=10800.0, **base)])
    assert value(soon.cells[0].soc_after).value > value(late.cells[0].soc_after).value


def test_a_measured_loaded_voltage_under_the_floor_is_damaging_however_the_pack_rests() -> None:
    reading: dict[str, Any] = {
        "before_v": (4.19, 4.19),
        "after_v": (3.72, 3.55),
        "rest_after_s": 7200.0,
        "loaded_v": (3.4, 2.6),
        "loaded_a": 20.0,
    }
    [found] = assessed([run(**reading)])
    assert found.cells[0].grade != "damaging"
    assert found.cells[1].grade == "damaging"
    assert value(found.cells[1].lowest_loaded_v).value == pytest.approx(2.6)


def test_a_nickel_cutoff_on_two_lithium_cells_is_seen_as_damaging() -> None:
    # Common practice, no source: a two-cell controller meant for nickel lets go just over 5.0 V.
    buggy = Vehicle(name="Sand buggy", controllers=("Left", "Right"))
    history = PackHistory(
        pack=PACK, runs=(run(vehicle="Sand buggy", ended_by="cutoff", after_v=(3.3, 3.3), rest_after_s=3600.0),), charges=()
    )
    for setting, harmful in ((5.0, True), (6.5, False)):
        stands = {name: Controller(name=name, cutoff_mode="pack_v", cutoff_v=volts) for name, volts in (("Left", 6.5), ("Right", setting))}
        [item] = assess_packs([history], {"Sand buggy": buggy}, stands)[0].runs
        chance = item.estimate.cells[0].below_floor_probability
        assert chance is not None
        assert (chance > 0.9) is harmful


def test_the_lowest_cutoff_is_the_one_that_ends_the_discharge() -> None:
    stands = (("pack_v", 6.5), ("pack_v", 5.0))
    assert trip_cell_v("cutoff", (), stands, 2, 4.2) == 2.5
    assert trip_cell_v("cutoff", (6.6, 6.4), stands, 2, 4.2) == 3.2
    assert trip_cell_v("cutoff", (), (("cell_v", 3.2), ("none", None)), 2, 4.2) == 3.2
    assert trip_cell_v("driver", (), stands, 2, 4.2) is None
    assert trip_cell_v("cutoff", (), (("none", None),), 2, 4.2) is None
    assert trip_cell_v("cutoff", (6.6,), (("none", None),), 2, 4.2) == 3.3
    assert trip_cell_v("cutoff", (3.3,), stands, 2, 4.2) == 3.3


def test_every_run_is_in_one_outing_and_charges_join() -> None:
    cells = family("lipo")
    runs = [run(0), run(1), run(30, before_v=(4.2, 4.2)), run(31, after_v=(3.8, 3.8)), run(32, before_v=(4.19, 4.19))]
    charges = [charge(10, 1.0, "storage"), charge(20, 2.0)]
    outings = cut(PACK, runs, charges, cells)
    assert [len(outing.runs) for outing in outings] == [2, 2, 1]
    assert outings[0].after is not None
    assert outings[0].after.put_back_ah == 3.0
    assert outings[1].before is not None
    assert outings[1].after is None
    assert [item for outing in outings for item in outing.runs] == runs


def test_a_second_full_charge_is_not_counted_to_the_run_before_the_first() -> None:
    [outing] = cut(PACK, [run(0)], [charge(5, 3.0), charge(30, 2.9)], family("lipo"))
    assert outing.after is not None
    assert outing.after.put_back_ah == 3.0


def test_one_cells_voltage_written_as_the_total_is_left_out() -> None:
    pack = Pack(name=PACK.name, chemistry="lipo", series=3, capacity_ah=5.0)
    [found] = assessed([run(after_v=(3.71,), rest_after_s=3600.0)], [charge(-2, None), charge(6, 2.5)], pack=pack)
    assert value(found.used_ah).value == pytest.approx(2.5, rel=0.02)
    assert {cell.grade for cell in found.cells} == {"fine"}


@pytest.mark.parametrize(
    ("floor", "reserve", "half", "grade"),
    [(0.5, 0, 0, "damaging"), (0.05, 0, 0, "deep"), (0.0, 1.0, 0.5, "deep"), (0.0, 0.5, 0.1, "low"), (0.04, 0.4, 0.4, "fine")],
)
def test_grades_are_given_where_the_definition_says(floor: float, reserve: float, half: float, grade: str) -> None:
    assert grade_of(floor, reserve, half) == grade


def test_a_longer_history_of_other_packs_changes_nothing() -> None:
    one = PackHistory(pack=PACK, runs=(run(before_v=(4.19, 4.19), after_v=(3.8, 3.8), rest_after_s=3600.0),), charges=())
    other_pack = Pack(name="Other", chemistry="lipo", series=2, capacity_ah=2.0)
    other_run = Run(pack="Other", started_at=T0, run_s=900.0, before_v=(4.1, 3.2), after_v=(3.5, 3.4))
    other = PackHistory(pack=other_pack, runs=(other_run,), charges=())
    alone = value(assess_packs([one], {}, {})[0].runs[0].estimate.used_ah)
    beside = value(assess_packs([other, one], {}, {})[1].runs[0].estimate.used_ah)
    assert beside.value == pytest.approx(alone.value, rel=1e-9)
