"""Current and temperature of a run against the label and the chemistry's window."""

from __future__ import annotations

import pytest

from tests.tracker.rules.evidence_maker import findings_of, of_run, only, pack
from tracker.rules.load import over_current, run_outside_window
from tracker.units import kelvin_from_celsius


def test_more_current_than_the_label_allows() -> None:
    found = only(over_current, of_run(pack(continuous_c=20.0), mean_a=40.0, loaded_a=130.0))
    assert found.severity == "caution"
    assert "The current at the lowest voltage was 130 A, and Tug 1 is rated for 100 A" in found.message
    assert "mean current" not in found.message


def test_current_within_the_label_or_not_known() -> None:
    assert findings_of(over_current, of_run(pack(continuous_c=20.0), mean_a=100.0)) == []
    assert findings_of(over_current, of_run(pack(continuous_c=20.0))) == []
    assert findings_of(over_current, of_run(pack(), mean_a=500.0)) == []


@pytest.mark.parametrize(
    ("chemistry", "temperature_c", "rule"),
    [
        # Cell makers' precautions: discharge between −20 and 60 °C.
        ("lipo", -21.0, "run-cold"),
        ("lipo", -20.0, None),
        ("lipo", 60.0, None),
        ("lipo", 61.0, "run-hot"),
        # A NiMH cell's data sheet of 2005: −10 to 65 °C.
        ("nimh", -12.0, "run-cold"),
        ("nimh", 64.0, None),
    ],
)
def test_discharge_window(chemistry: str, temperature_c: float, rule: str | None) -> None:
    found = findings_of(run_outside_window, of_run(pack(chemistry), pack_k=kelvin_from_celsius(temperature_c)))
    assert [each.rule for each in found] == ([] if rule is None else [rule])
    assert all(each.severity == "caution" for each in found)


def test_temperature_not_known() -> None:
    assert findings_of(run_outside_window, of_run()) == []


def test_below_zero_is_written_with_a_minus() -> None:
    assert "run at −25 °C; allowed is −20 °C to 60 °C" in only(run_outside_window, of_run(pack_k=kelvin_from_celsius(-25.0))).message
