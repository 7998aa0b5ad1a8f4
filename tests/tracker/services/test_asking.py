"""What is typed becomes a task, or words about each field that is wrong."""

from __future__ import annotations

import pytest

from tracker.errors import FieldErrors, InputError
from tracker.services.asking import cutoff_task, divider_task, supply_voltage

PARTS = {"top": "10k", "bottom": "10k", "trips": "5.05", "wanted": "6.4"}


def test_empty_fields_of_a_cutoff_mean_the_usual() -> None:
    task = cutoff_task({"pack": "Tug A", "vehicle": "Pond tug", "risk": "", "c": " ", "mean_a": ""})
    assert (task.pack, task.vehicle, task.risk, task.pack_k, task.mean_a, task.burst_a) == ("Tug A", "Pond tug", 0.01, 298.15, None, None)


def test_a_decimal_comma_is_taken() -> None:
    task = cutoff_task({"pack": "Tug A", "vehicle": "Pond tug", "risk": "0,05", "c": "-5,5", "mean_a": "12,5", "burst_a": "30"})
    assert (task.risk, task.mean_a, task.burst_a) == (0.05, 12.5, 30.0)
    assert task.pack_k == pytest.approx(267.65)
    assert supply_voltage(" 7,4 ") == 7.4


@pytest.mark.parametrize(
    ("field", "text"),
    [("risk", "0"), ("risk", "0.9"), ("c", "-21"), ("c", "warm"), ("mean_a", "0"), ("mean_a", "1e9"), ("burst_a", "-1")],
)
def test_each_wrong_field_of_a_cutoff_is_named_with_what_is_allowed(field: str, text: str) -> None:
    with pytest.raises(FieldErrors) as refused:
        cutoff_task({"pack": "Tug A", "vehicle": "Pond tug", field: text})
    assert set(refused.value.problems) == {field}
    assert "allowed" in refused.value.problems[field]


def test_bursts_below_the_mean_are_refused() -> None:
    with pytest.raises(FieldErrors, match="bursts are above the mean"):
        cutoff_task({"mean_a": "20", "burst_a": "10"})


def test_a_divider_by_its_parts_or_its_ratio() -> None:
    assert (divider_task(PARTS).ratio, divider_task(PARTS).bottom_ohm) == (1.0, 10000.0)
    by_ratio = divider_task({"ratio": "2,5", "top": "25k", "trips": "5,05", "wanted": "6,4", "series": "E96", "place": "series_top"})
    assert (by_ratio.ratio, by_ratio.bottom_ohm, by_ratio.series, by_ratio.place) == (2.5, 10000.0, "E96", "series_top")
    assert divider_task({"ratio": "2", "trips": "5", "wanted": "6"}).bottom_ohm is None


@pytest.mark.parametrize(
    ("changed", "fields"),
    [
        ({"top": "", "bottom": ""}, {"top"}),
        ({"bottom": ""}, {"bottom"}),
        ({"top": ""}, {"top"}),
        ({"ratio": "1"}, {"ratio"}),
        ({"top": "ten"}, {"top"}),
        ({"trips": "", "wanted": "0"}, {"trips", "wanted"}),
        ({"series": "E13"}, {"series"}),
        ({"place": "beside"}, {"place"}),
        ({"tolerance": "60"}, {"tolerance"}),
    ],
)
def test_each_wrong_field_of_a_divider_is_named(changed: dict[str, str], fields: set[str]) -> None:
    with pytest.raises(FieldErrors) as refused:
        divider_task(PARTS | changed)
    assert set(refused.value.problems) == fields


@pytest.mark.parametrize("text", ["", "  ", "0", "-7", "740", "1e400", "seven", "nan"])
def test_what_is_no_supply_voltage_is_refused(text: str) -> None:
    with pytest.raises(InputError, match=r"needed is|allowed"):
        supply_voltage(text)
