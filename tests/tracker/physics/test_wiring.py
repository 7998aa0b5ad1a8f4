"""Copper, wire gauges and what leads take away."""

from __future__ import annotations

import numpy as np
import pytest

from tracker.errors import InputError
from tracker.physics.wiring import (
    COPPER_OHM_M,
    copper_resistivity,
    gauge_area,
    gauge_diameter,
    lead_resistance,
    wire_resistance,
)

IEC_60228_CLASS_5 = {0.5: 39.0, 0.75: 26.0, 1.0: 19.5, 1.5: 13.3, 2.5: 7.98, 4.0: 4.95, 6.0: 3.30, 10.0: 1.91}
"""Largest resistance of a flexible conductor at 20 °C, by area in mm2, in milliohm a metre."""


def test_copper_at_20_degrees() -> None:
    """Published: IEC 60028:1925, 58 MS/m and 0.393 % a kelvin."""
    assert copper_resistivity(293.15) == pytest.approx(1.724138e-8, rel=1e-6)
    assert copper_resistivity() == COPPER_OHM_M
    np.testing.assert_allclose(copper_resistivity([293.15, 294.15]) / COPPER_OHM_M, [1.0, 1.00393], rtol=1e-12)


def test_ends_of_the_gauge() -> None:
    """Published: ASTM B258, gauge 36 is 0.0050 in and 4/0 is 0.4600 in."""
    assert gauge_diameter(36) == pytest.approx(0.0050 * 0.0254, rel=1e-12)
    assert gauge_diameter(-3) == pytest.approx(0.4600 * 0.0254, rel=1e-12)


@pytest.mark.parametrize(("gauge", "ohm_per_1000_ft"), [(8, 0.6282), (10, 0.9989), (12, 1.588), (14, 2.525)])
def test_resistance_of_a_thousand_feet(gauge: int, ohm_per_1000_ft: float) -> None:
    """Published: wire tables at 20 °C after ASTM B258 with the copper of IEC 60028."""
    assert wire_resistance(gauge_area(gauge), 304.8) == pytest.approx(ohm_per_1000_ft, rel=4e-4)


def test_gauge_12() -> None:
    """Derived from ASTM B258 and IEC 60028: 5.211 milliohm a metre and 3.309 mm2."""
    assert 1e3 * wire_resistance(gauge_area(12), 1.0) == pytest.approx(5.211, rel=1e-3)
    assert 1e6 * gauge_area(12) == pytest.approx(3.309, rel=1e-3)


def test_drop_in_the_leads_of_a_car() -> None:
    """Derived from the same: gauge 12, 0.15 m each way, 40 A: 62.5 mV at 20 °C and 72.3 mV at 60 °C."""
    assert 40.0 * lead_resistance(12, 0.15) == pytest.approx(0.0625, abs=5e-5)
    assert 40.0 * lead_resistance(12, 0.15, temperature_k=333.15) == pytest.approx(0.0723, abs=1e-4)


def test_solid_wire_keeps_the_limit_of_flexible_wire() -> None:
    """Published: IEC 60228 class 5; solid copper of the same area lies below each limit, and not by more than a fifth."""
    for area_mm2, limit_mohm_m in IEC_60228_CLASS_5.items():
        assert 0.8 * limit_mohm_m < 1e3 * float(wire_resistance(1e-6 * area_mm2, 1.0)) < limit_mohm_m


def test_each_connector_has_two_contacts() -> None:
    """Limit: no lead at all leaves the contacts, out and back."""
    assert lead_resistance(12, 0.0, connector_pairs=2, connector_ohm=0.5e-3) == pytest.approx(2e-3, rel=1e-12)


@pytest.mark.parametrize(
    ("gauge", "each_way_m", "pairs", "contact_ohm", "named"),
    [(99, 0.1, 0, 0.0, "gauge is 99"), (12, -0.1, 0, 0.0, "length"), (12, 0.1, -1, 0.0, "number"), (12, 0.1, 1, float("nan"), "contact")],
)
def test_what_cannot_be_a_lead_is_refused(gauge: int, each_way_m: float, pairs: int, contact_ohm: float, named: str) -> None:
    with pytest.raises(InputError, match=named):
        lead_resistance(gauge, each_way_m, pairs, contact_ohm)
