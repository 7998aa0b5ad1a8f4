"""Which resistor moves a trip point: worked values, limits, and what is refused."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.domain.divider import PLACE_WORDS, RAISES, SERIES, DividerTask
from tracker.errors import InputError
from tracker.estimators.divider import plan_divider
from tracker.physics import divider, preferred_values

TASK = DividerTask(ratio=1.0, bottom_ohm=10e3, trips_at_v=5.0, wanted_v=6.0, series="E96")


def task(**changes: Any) -> DividerTask:
    return replace(TASK, **changes)


def test_the_words_of_the_rooms_agree() -> None:
    assert tuple(RAISES) == divider.PLACES == tuple(PLACE_WORDS)
    assert {place for place, raises in RAISES.items() if raises} == set(divider.RAISING)
    assert set(SERIES) <= set(preferred_values.SERIES)


@pytest.mark.parametrize(
    ("series", "wanted", "place", "chosen", "trip", "within"),
    [  # worked by hand: 2.5 V, 10 k over 10 k
        ("E24", 6.0, "across_bottom", 24e3, 6.0417, 5e-5),
        ("E96", 6.0, "across_bottom", 24.9e3, 6.0040, 5e-5),
        ("E24", 4.5, "across_top", 39e3, 4.4898, 5e-5),
        ("E96", 4.5, "across_top", 40.2e3, 4.5020, 5e-5),
    ],
)
def test_worked_choices(series: str, wanted: float, place: str, chosen: float, trip: float, within: float) -> None:
    plan = plan_divider(task(series=series, wanted_v=wanted))
    assert plan.reference_v == 2.5
    assert plan.add == place
    assert plan.chosen is not None
    assert plan.chosen == plan.choices[0]
    assert plan.chosen.added_ohm == chosen
    assert plan.trip_v == pytest.approx(trip, abs=within)
    assert plan.ideal_ohm == pytest.approx(25e3 if wanted == 6.0 else 40e3)


def test_the_neighbours_of_the_ideal_value_are_among_the_choices() -> None:
    """Published: 24.9 k and 25.5 k of E96 lie beside 25.0 k."""
    ohms = [choice.added_ohm for choice in plan_divider(TASK).choices]
    assert ohms[:2] == [24.9e3, 25.5e3]
    assert len(ohms) == len(set(ohms)) == 6


def test_worked_limits() -> None:
    """Worked by hand, all four at 1 %; the 95 % by drawing a million times."""
    limits = plan_divider(TASK).as_designed
    assert (limits.worst_low_v, limits.worst_high_v) == pytest.approx((5.8753, 6.1356), abs=5e-5)
    assert limits.rss_v == pytest.approx(0.012418 * 6.0040, abs=2e-5)
    assert (limits.low_95_v, limits.high_95_v) == pytest.approx((5.923, 6.085), abs=1.5e-3)


def test_a_bench_test_before_tells_more_than_the_parts() -> None:
    """Limits: known exactly where it lets go, and with a reference of any value, only the parts' ratios are left."""
    plan = plan_divider(task(bench_within_v=0.0, reference_tolerance=0.3))
    assert plan.as_tested.worst_high_v - plan.as_tested.worst_low_v < 0.05
    assert plan.as_designed.worst_high_v - plan.as_designed.worst_low_v > 3
    exact = plan_divider(task(bench_within_v=0.0, part_tolerance=0.0)).as_tested
    assert (exact.worst_low_v, exact.worst_high_v) == pytest.approx((6.0040, 6.0040), abs=5e-5)
    # What is off by 1 % before is off by 1 % after, where the parts are exact.
    reading = plan_divider(task(bench_within_v=0.05, part_tolerance=0.0)).as_tested
    assert (reading.worst_low_v, reading.worst_high_v) == pytest.approx((0.99 * 6.0040, 1.01 * 6.0040), abs=1e-4)


def test_power_and_drift() -> None:
    """Worked by hand: 2.5 V across 24.9 k; 40 K at 100 ppm/K through the sensitivities 1, 0.584, 0.416 and 0.167."""
    plan = plan_divider(TASK)
    assert plan.power_w == pytest.approx(2.5**2 / 24.9e3)
    assert plan.most_power_w == pytest.approx(2.25 * 2.5**2 / 24.9e3)
    assert plan.drift.worst_v == pytest.approx((1 + 0.5836 + 0.4164 + 0.1672) * 4e-3 * 6.004, abs=1e-5)
    assert plan.drift.rss_v == pytest.approx(1.2418 * 4e-3 * 6.004, abs=1e-5)


def test_all_four_places_are_told() -> None:
    places = {each.place: each for each in plan_divider(TASK).places}
    assert list(places) == list(RAISES)
    assert {place for place, each in places.items() if not each.why_not} == {"across_bottom", "series_top"}
    assert "negative" in places["across_top"].why_not
    assert places["series_top"].ideal_ohm == pytest.approx(4e3)
    assert [each.cuts_trace for each in places.values()] == [False, False, True, True]


def test_a_place_asked_for_is_kept_or_refused_with_those_that_work() -> None:
    assert plan_divider(task(place="series_top")).add == "series_top"
    with pytest.raises(InputError, match=r"across_top .*negative.*What works: across_bottom .*or series_top"):
        plan_divider(task(place="across_top"))
    with pytest.raises(InputError, match=r"series_top .*negative.*What works: across_top .*or series_bottom"):
        plan_divider(task(place="series_top", wanted_v=4.5))


def test_the_nearest_that_does_not_lie_below_is_told() -> None:
    plan = plan_divider(task(wanted_v=4.5, series="E24"))
    assert plan.not_below is not None
    assert plan.not_below.added_ohm == 43e3
    assert plan.not_below.trip_v >= 4.5
    assert plan.chosen is not None
    assert plan.chosen.trip_v < 4.5


def test_a_ratio_alone_gives_the_resistor_in_units_of_a_part() -> None:
    plan = plan_divider(task(bottom_ohm=None))
    assert (plan.add, plan.ideal_ohm, plan.chosen, plan.choices, plan.power_w) == ("across_bottom", None, None, (), None)
    assert plan.ideal_ratio == pytest.approx(2.5)
    assert plan.trip_v == 6.0
    top = plan_divider(task(bottom_ohm=None, ratio=3.0, place="series_top"))
    whole = plan_divider(task(ratio=3.0, place="series_top"))
    assert top.ideal_ratio == pytest.approx((whole.ideal_ohm or 0) / 30e3)


def test_nothing_to_move() -> None:
    plan = plan_divider(task(wanted_v=5.004))
    assert (plan.add, plan.chosen, plan.trip_v) == ("none", None, 5.0)
    assert (plan.as_designed.worst_low_v, plan.as_designed.worst_high_v) == pytest.approx((4.9010, 5.1010), abs=5e-5)
    assert (plan.as_tested.worst_low_v, plan.as_tested.worst_high_v) == pytest.approx((4.95, 5.05))
    assert plan_divider(task(wanted_v=5.01)).add == "across_bottom"


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"wanted_v": 2.5}, r"cannot be reached: the controller compares with 2.5 V.*above 2.5 V"),
        ({"wanted_v": 1.0}, "cannot be reached"),
        ({"bottom_ohm": 1e9}, r"no resistor moves the trip from 5 V to 6 V: across the bottom resistor, it would take 2.5e\+09 Ω"),
        ({"series": "E13"}, "series 'E13' is not known; allowed are E12, E24"),
        ({"place": "above"}, "place 'above' is not known; allowed are across_bottom"),
        ({"ratio": 0.0}, "ratio is 0; allowed are numbers above 0"),
        ({"bottom_ohm": -1.0}, "bottom is -1"),
        ({"trips_at_v": float("inf")}, "trips-at is inf"),
        ({"part_tolerance": 1.0}, "tolerances"),
        ({"bench_within_v": 5.0}, "bench reading"),
    ],
)
def test_refused(changes: dict[str, Any], words: str) -> None:
    with pytest.raises(InputError, match=words):
        plan_divider(task(**changes))


def test_a_resistor_too_large_to_buy_is_put_elsewhere() -> None:
    """Across 20 MΩ it would take 50 MΩ; in series with the top, 8 MΩ."""
    plan = plan_divider(task(bottom_ohm=20e6))
    assert plan.add == "series_top"
    assert "parts are sold" in plan.places[0].why_not


@given(
    ratio=st.floats(0.05, 20),
    bottom=st.floats(100, 1e6),
    trips_at=st.floats(3, 15),
    factor=st.floats(0.7, 1.5),
    series=st.sampled_from(SERIES),
)
def test_any_divider(ratio: float, bottom: float, trips_at: float, factor: float, series: str) -> None:
    """Limits: the chosen part moves the trip the right way, no other choice lies nearer, and the worst case encloses the rest."""
    asked = DividerTask(ratio=ratio, bottom_ohm=bottom, trips_at_v=trips_at, wanted_v=factor * trips_at, series=series)
    try:
        plan = plan_divider(asked)
    except InputError:
        return
    if plan.chosen is None:
        assert plan.add == "none"
        return
    assert (plan.trip_v > trips_at) == (factor > 1)
    assert all(abs(plan.trip_v - asked.wanted_v) <= abs(choice.trip_v - asked.wanted_v) for choice in plan.choices)
    for limits in (plan.as_designed, plan.as_tested):
        assert limits.worst_low_v <= limits.low_95_v <= plan.trip_v <= limits.high_95_v <= limits.worst_high_v
