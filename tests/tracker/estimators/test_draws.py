"""What a vehicle usually draws: which runs teach it, how many it takes, and when it counts."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from tests.tracker.estimators.written_packs import Driven, driven
from tracker.domain.controller import Vehicle
from tracker.domain.pack import Pack
from tracker.domain.results import Estimate
from tracker.domain.session import Charge, Run
from tracker.estimators.assess import assess_packs
from tracker.estimators.draws import (
    LEARNED_DRAW_FLOOR_SD,
    REMEMBERED,
    TYPED_DRAW_RELATIVE_SD,
    UNNAMED_FLOOR_SD,
    UsualDraws,
    drawn,
    typed_draws,
)
from tracker.estimators.outings import Outing
from tracker.estimators.readings import UsualDraw

PACK = Pack(name="Pond 1", chemistry="lipo", series=3, capacity_ah=5.0)
BARE = Run(pack="Pond 1", started_at=datetime(2025, 3, 1, tzinfo=UTC), run_s=720.0, vehicle="Tug")
READ = replace(BARE, after_v=(3.7, 3.7, 3.7))


def outing(*runs: Run, put_back_ah: float | None = None) -> Outing:
    after = (
        None if put_back_ah is None else Charge(pack="Pond 1", finished_at=BARE.started_at + timedelta(hours=9), put_back_ah=put_back_ah)
    )
    return Outing(PACK, runs, None, after)


def counted(*currents_a: float, vehicle: str | None = "Tug") -> UsualDraws:
    return UsualDraws((vehicle, current, True) for current in currents_a)


def of_bare(usual: UsualDraws, vehicle: str | None = "Tug") -> UsualDraw | None:
    return usual.of(outing(replace(BARE, vehicle=vehicle))).get(("Pond 1", vehicle))


def test_it_takes_three_runs() -> None:
    """Limit: two teach nothing, three do, and of another vehicle nothing is learned."""
    assert of_bare(counted(14.0, 14.0)) is None
    assert of_bare(counted(14.0, 14.0, 15.0)) is not None
    assert of_bare(counted(14.0, 14.0, 15.0), "Barge") is None
    assert of_bare(UsualDraws([("Tug", 14.0, True)] * 2 + [("Barge", 14.0, True)] * 2)) is None


def test_the_middle_run_is_the_usual_one_and_one_odd_run_moves_it_little() -> None:
    """Limit: a median."""
    usual = of_bare(counted(10.0, 14.0, 15.0, 16.0, 90.0))
    assert usual is not None
    assert usual[0] == 15.0


@pytest.mark.parametrize(("vehicle", "floor"), [("Tug", LEARNED_DRAW_FLOOR_SD), (None, UNNAMED_FLOOR_SD)])
def test_runs_all_alike_leave_the_floor(vehicle: str | None, floor: float) -> None:
    """Limit: however alike; runs without a vehicle are less sure to be one and the same."""
    usual = of_bare(counted(*[14.0] * 12, vehicle=vehicle), vehicle)
    assert usual == (14.0, floor)


def test_few_runs_leave_it_unsurer_than_many_as_far_apart() -> None:
    """Limit: up to four runs the ordinary spread between runs counts with them; at last their own is left."""
    found = [of_bare(counted(*([12.0, 16.0] * 20)[:count])) for count in (3, 4, 40)]
    spreads = [usual[1] for usual in found if usual is not None]
    assert len(spreads) == 3
    assert spreads[0] > spreads[2]
    assert spreads[2] == pytest.approx(np.sqrt(30 / 29) * 2.0 / 14.0, rel=0.02)


def test_counted_runs_come_first() -> None:
    """Limit: those shown by voltages alone stand in only while there are too few counted ones."""
    shown = [("Tug", 20.0, False)] * 10
    assert of_bare(UsualDraws([*shown, ("Tug", 14.0, True), ("Tug", 14.0, True)])) is not None
    few = of_bare(UsualDraws([*shown, ("Tug", 14.0, True), ("Tug", 14.0, True)]))
    assert few is not None
    assert few[0] == 20.0
    enough = of_bare(UsualDraws([*shown, *[("Tug", 14.0, True)] * 3]))
    assert enough is not None
    assert enough[0] == 14.0


def test_only_the_latest_runs_count() -> None:
    """Limit: after a change of gearing the old draw is forgotten."""
    usual = of_bare(counted(*[10.0] * 50, *[20.0] * REMEMBERED))
    assert usual == (20.0, LEARNED_DRAW_FLOOR_SD)


def test_beside_voltages_only_a_regular_vehicle_counts() -> None:
    """Limit: five counted runs within 12 % of each other; not four, not irregular, not shown by voltages."""
    key = ("Pond 1", "Tug")
    assert key in counted(14.0, 14.5, 13.5, 14.0, 14.2).of(outing(READ))
    assert key not in counted(14.0, 14.5, 13.5, 14.0).of(outing(READ))
    assert key not in counted(10.0, 18.0, 14.0, 11.0, 17.0).of(outing(READ))
    assert key not in UsualDraws([("Tug", 14.0, False)] * 9).of(outing(READ))
    assert key in UsualDraws([("Tug", 14.0, False)] * 9).of(outing(BARE))


def test_where_a_count_says_what_was_taken_the_usual_draw_does_not() -> None:
    """Limit: by the charger after it, or by a meter in every run."""
    usual = counted(*[14.0] * 9)
    assert usual.of(outing(READ, BARE, put_back_ah=3.0)) == {}
    assert usual.of(outing(replace(BARE, used_ah=2.0))) == {}
    assert usual.of(outing(replace(BARE, used_ah=2.0), BARE)) != {}


def test_asking_and_adding_in_turn_is_the_same_as_adding_first() -> None:
    """Regression: what was found is not kept over a run that changes it."""
    usual = counted(14.0, 14.0, 15.0)
    before = of_bare(usual), usual.of(outing(READ))
    for current in (20.0, 21.0, 22.0, 23.0):
        usual.add(("Tug", current, True))
        of_bare(usual)
    fresh = counted(14.0, 14.0, 15.0, 20.0, 21.0, 22.0, 23.0)
    assert (of_bare(usual), usual.of(outing(READ))) == (of_bare(fresh), fresh.of(outing(READ)))
    assert of_bare(usual) != before[0]


def test_a_run_teaches_when_its_charge_is_clear() -> None:
    """Limit: the mean current of a counted run known to 6 %, or of a run with a reading known to 15 %; else nothing."""
    assert drawn(outing(BARE, put_back_ah=3.0), [2.8], [0.1]) == [("Tug", 14.0, True)]
    assert drawn(outing(READ, put_back_ah=3.0), [2.8], [0.3]) == [("Tug", 14.0, False)]
    assert drawn(outing(READ), [2.8], [0.3]) == [("Tug", 14.0, False)]
    assert drawn(outing(READ), [2.8], [0.5]) == []
    assert drawn(outing(BARE), [2.8], [0.1]) == []
    assert drawn(outing(READ), [-0.1], [0.001]) == []


def test_typed_draws_are_of_the_vehicle_whatever_the_pack() -> None:
    """Limit: only vehicles with a usual current, with what a typed one is worth."""
    vehicles = [Vehicle(name="Tug", usual_a=12.0), Vehicle(name="Barge")]
    assert typed_draws(vehicles) == {(None, "Tug"): (12.0, TYPED_DRAW_RELATIVE_SD)}


@pytest.mark.parametrize("vehicle", ["Tug", None])
def test_a_run_with_no_reading_at_all_is_estimated_by_its_time(vehicle: str | None) -> None:
    """Limit: ten counted runs teach the draw; then the truth lies in the interval, which is wider without a vehicle's name."""
    written = driven(Driven(outings=14, vehicle=vehicle, noise_v=0.003))
    runs = tuple(replace(run, before_v=(), after_v=()) if at >= 10 else run for at, run in enumerate(written.history.runs))
    charges = tuple(replace(charge, put_back_ah=None) if at > 10 else charge for at, charge in enumerate(written.history.charges))
    found = assess_packs([replace(written.history, runs=runs, charges=charges)], {}, {})[0].runs[10:]
    for each, used_ah in zip(found, written.used_ah[10:], strict=True):
        used = each.estimate.used_ah
        assert isinstance(used, Estimate)
        assert used.low <= used_ah <= used.high
        assert used.sd / used.value == pytest.approx(LEARNED_DRAW_FLOOR_SD if vehicle else UNNAMED_FLOOR_SD, rel=0.2)
        assert [vote.kind for vote in each.estimate.evidence if vote.weight > 0] == ["usual_draw"]
