"""Charges against published limits: full-charge voltages and the 0…40 °C window."""

from __future__ import annotations

import pytest

from tests.tracker.rules.evidence_maker import findings_of, of_charge, only, pack
from tracker.rules.charging import charged_below_limit, charged_cold, charged_hot, over_charge_limit, uneven_when_charged
from tracker.units import kelvin_from_celsius


@pytest.mark.parametrize(
    ("chemistry", "end_v", "severity"),
    [
        ("lipo", (4.20, 4.22), None),  # Ai et al. 2020: 4.20 V
        ("lipo", (4.20, 4.23), "caution"),
        ("lipo", (4.20, 4.25), "caution"),  # IEC 62133-2:2017 annex A: 4.25 V at the most (from memory)
        ("lipo", (4.20, 4.26), "stop"),
        ("lipo", (8.40,), None),  # racing rules of a British model car body, 2026: 8.40 V for two cells
        ("lipo", (8.70,), "stop"),
        ("lihv", (4.35, 4.35), None),  # phone-cell tables: 4.35 V
        ("life", (3.60, 3.60), None),  # University of Colorado cell tests: 3.60 V
        ("life", (4.20, 4.20), "stop"),
        ("nimh", (1.60, 1.60), None),  # no voltage limit: a nickel charge ends on a fall
        ("lipo", (), None),
    ],
)
def test_over_the_charge_limit(chemistry: str, end_v: tuple[float, ...], severity: str | None) -> None:
    found = findings_of(over_charge_limit, of_charge(pack(chemistry), end_v=end_v))
    assert [each.severity for each in found] == ([] if severity is None else [severity])
    if severity == "stop":
        assert "Do not use or charge it" in found[0].message
        assert "maker's instructions" in found[0].message


@pytest.mark.parametrize(
    ("chemistry", "temperature_c", "cold", "hot"),
    [
        # U.S. Fire Administration quoting NFPA: lithium not below 0 °C nor above 40 °C.
        ("lipo", -1.0, "stop", None),
        ("lipo", 0.0, None, None),
        ("lipo", 40.0, None, None),
        ("lipo", 41.0, None, "caution"),
        ("lipo", 61.0, None, "stop"),  # JEITA/BAJ guideline of 2007: none above 60 °C
        ("nimh", -1.0, "caution", None),
        ("nimh", 61.0, None, "caution"),
    ],
)
def test_charge_window(chemistry: str, temperature_c: float, cold: str | None, hot: str | None) -> None:
    evidence = of_charge(pack(chemistry), pack_k=kelvin_from_celsius(temperature_c))
    assert [each.severity for each in findings_of(charged_cold, evidence)] == ([] if cold is None else [cold])
    assert [each.severity for each in findings_of(charged_hot, evidence)] == ([] if hot is None else [hot])


def test_plating_is_told_and_sourced() -> None:
    found = only(charged_cold, of_charge(pack_k=kelvin_from_celsius(-5.0)))
    assert "charged at −5 °C; the least is 0 °C" in found.message
    assert found.source is not None
    assert "122197" in found.source


def test_temperature_not_known() -> None:
    assert findings_of(charged_cold, of_charge()) == []
    assert findings_of(charged_hot, of_charge()) == []


def test_charged_although_it_had_rested_too_low() -> None:
    found = only(charged_below_limit, of_charge(rested_before_v=(3.4, 1.7)))
    assert (found.rule, found.severity) == ("charged-below-limit", "stop")
    assert "although cell 2 had rested at 1.70 V; below 2.00 V it must not be" in found.message
    assert findings_of(charged_below_limit, of_charge(rested_before_v=(3.4, 3.4))) == []
    assert findings_of(charged_below_limit, of_charge()) == []


def test_uneven_at_the_end_of_a_full_charge() -> None:
    assert only(uneven_when_charged, of_charge(end_v=(4.20, 4.10))).rule == "cell-spread"
    assert findings_of(uneven_when_charged, of_charge(end_v=(4.20, 4.19))) == []
    assert findings_of(uneven_when_charged, of_charge(goal="partial", end_v=(4.20, 4.10))) == []
    assert findings_of(uneven_when_charged, of_charge(end_v=(8.4,))) == []
