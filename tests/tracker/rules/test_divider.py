"""What is to be heeded when a controller is altered."""

from __future__ import annotations

import pytest

from tracker.domain.divider import RAISES, DividerTask
from tracker.estimators.divider import plan_divider
from tracker.physics.divider import trip_with
from tracker.rules.divider import ALTERING, BENCH_AFTER, UNPLUGGED, divider_cautions


def cautions(
    wanted_v: float = 6.0, ratio: float = 1.0, bottom_ohm: float | None = 10e3, place: str | None = None, series: str = "E24"
) -> tuple[str, ...]:
    task = DividerTask(ratio=ratio, bottom_ohm=bottom_ohm, trips_at_v=5.0, wanted_v=wanted_v, place=place, series=series)
    return divider_cautions(plan_divider(task))


@pytest.mark.parametrize("wanted", [4.5, 5.0, 6.0])
def test_these_are_always_said_first(wanted: float) -> None:
    assert cautions(wanted)[:3] == (ALTERING, UNPLUGGED, BENCH_AFTER)
    said = " ".join(cautions(wanted)[:3])
    for word in ("warranty", "fine-pitch", "maker's instructions", "local rules", "Take the pack off", "bench test"):
        assert word in said


def test_what_else_shifts_is_said_with_a_number() -> None:
    """5 V moved to 6.0417 V: 8.40 V is then taken for 6.95 V."""
    [shifts] = [caution for caution in cautions() if "Everything else" in caution]
    assert "8.40 V will be taken for 6.95 V" in shifts
    for word in ("read-out", "over-voltage", "counting of cells", "takes hold again"):
        assert word in shifts


def test_a_lower_trip_is_warned_of() -> None:
    assert any("lets packs go deeper" in caution for caution in cautions(4.5))
    assert not any("lets packs go deeper" in caution for caution in cautions(6.0))


def test_a_part_that_may_let_it_go_below_the_wanted_trip_is_named_with_a_better_one() -> None:
    [low] = [caution for caution in cautions(4.5) if "below the 4.50 V wanted" in caution]
    assert "43 kΩ gives 4.53 V" in low


def test_unknown_parts_say_what_to_measure() -> None:
    said = " ".join(cautions(bottom_ohm=None))
    assert "2.5 times the bottom one. Measure that one" in said
    assert "by trial" in said
    assert "ask again with --top" in " ".join(cautions(bottom_ohm=None, place="series_top"))
    assert "by trial" not in " ".join(cautions(4.5, bottom_ohm=None))
    assert "Measure that one" not in " ".join(cautions())


@pytest.mark.parametrize(("place", "trial_ohm", "wanted_ohm"), [("across_bottom", 47e3, 25e3), ("series_top", 6.8e3, 4e3)])
def test_the_trial_resistor_gives_the_wanted_one(place: str, trial_ohm: float, wanted_ohm: float) -> None:
    """Round trip: what the sentence says against the formula."""
    said = " ".join(cautions(bottom_ohm=None, place=place))
    moved, missing = float(trip_with(place, 2.5, 10e3, 10e3, trial_ohm)) - 5.0, 6.0 - 5.0
    if "(its trip - the trip now) / (the wanted trip - the trip now)" in said:
        assert trial_ohm * moved / missing == pytest.approx(wanted_ohm)
    else:
        assert "(the wanted trip - the trip now) / (its trip - the trip now)" in said
        assert trial_ohm * missing / moved == pytest.approx(wanted_ohm)


def test_heat_and_sizes() -> None:
    [size] = [caution for caution in cautions() if "0603" in caution]
    assert "any chip resistor stands" in size
    [hot] = [caution for caution in cautions(bottom_ohm=40.0) if "0603" in caution]
    assert "choose a larger one" in hot


@pytest.mark.parametrize(("place", "wanted"), [(place, 6.0 if raises else 4.5) for place, raises in RAISES.items()])
def test_a_broken_joint_and_a_cut_trace_are_told(place: str, wanted: float) -> None:
    said = cautions(wanted, place=place)
    assert sum("joint breaks" in caution for caution in said) == 1
    assert any("lifted on one side or its trace cut" in caution for caution in said) == place.startswith("series")


def test_odd_parts_are_doubted() -> None:
    assert any("exchanged" in caution for caution in cautions(ratio=50.0))
    assert any("flux and damp" in caution for caution in cautions(bottom_ohm=1e6))
    assert any("current into the controller's input" in caution for caution in cautions(bottom_ohm=1e6))
    assert not any("flux" in caution or "exchanged" in caution or "neglected" in caution for caution in cautions())
    assert any("lifted" in caution for caution in cautions(bottom_ohm=None))


def test_each_is_a_sentence() -> None:
    for said in (cautions(), cautions(4.5), cautions(5.0), cautions(bottom_ohm=None), cautions(bottom_ohm=3e6, ratio=60.0)):
        for caution in said:
            assert caution[0].isupper() or caution[0].isdigit()
            assert caution.endswith(".")
            assert "None" not in caution
