"""All rules together: an ordinary day is quiet, a bad one is loud, and every finding is fit to be shown."""

from __future__ import annotations

import pytest

from tests.tracker.rules.evidence_maker import (
    NOON,
    assessed,
    cell,
    charge,
    controller,
    estimate,
    health,
    of_charge,
    of_pack,
    of_run,
    pack,
    sure,
)
from tracker.chemistry import names
from tracker.domain.results import SEVERITIES, Finding
from tracker.rules import charge_findings, pack_findings, run_findings
from tracker.units import kelvin_from_celsius


def worst(chemistry: str) -> tuple[Finding, ...]:
    of = pack(chemistry, continuous_c=5.0)
    run = of_run(
        of,
        estimate(cell(1, "damaging", 0.0, 0.7, 0.99), cell(2, "low", 0.1)),
        (controller(0.9), controller(None, "none", "Other")),
        before_v=(9.0, 0.01),
        after_v=(0.02, 5.0),
        rest_after_s=30.0,
        mean_a=200.0,
        pack_k=kelvin_from_celsius(-40.0),
    )
    charged = of_charge(of, rested_before_v=(0.1, 0.1), end_v=(5.0, 4.0), pack_k=kelvin_from_celsius(70.0))
    cold = of_charge(of, pack_k=kelvin_from_celsius(-10.0))
    idle = of_pack((assessed(NOON, cell(1, "low", 0.05)),), days_later=9, of=of)
    full = of_pack(charges=(charge(),), days_later=9, of=of)
    learned = {"weakest_cell": 2, "weakest_ratio": sure(0.8), "restless_cells": (1,), "growth": sure(2.5, 0.1), "excess": sure(0.1)}
    aged = [of_pack(of=of, learned=health(of, health=sure(held), **learned)) for held in (0.5, 0.7)]
    told = [run_findings(run), charge_findings(charged), charge_findings(cold), *map(pack_findings, (idle, full, *aged))]
    return tuple(finding for findings in told for finding in findings)


def test_an_ordinary_day_gives_nothing() -> None:
    day = of_run(
        before_v=(4.19, 4.19),
        loaded_v=(6.9,),
        loaded_a=40.0,
        after_v=(3.74, 3.74),
        rest_after_s=1800.0,
        cutoff_v=(6.4,),
        pack_k=kelvin_from_celsius(30.0),
        ended_by="driver",
        controllers=(controller(6.4),),
    )
    assert run_findings(day) == ()
    assert charge_findings(of_charge(end_v=(4.20, 4.20), pack_k=kelvin_from_celsius(22.0), rested_before_v=(3.74, 3.74))) == ()
    assert pack_findings(of_pack((assessed(),), (charge(),), days_later=1, learned=health())) == ()


def test_nothing_written_down_gives_nothing() -> None:
    assert run_findings(of_run(told=estimate(cell(1, None, None, None, None)))) == ()
    assert charge_findings(of_charge(goal=None)) == ()
    assert pack_findings(of_pack()) == ()


@pytest.mark.parametrize("chemistry", names())
def test_every_finding_is_fit_to_be_shown(chemistry: str) -> None:
    found = worst(chemistry)
    assert len({each.rule for each in found}) >= 15
    for each in found:
        assert each.severity in SEVERITIES
        assert "!" not in each.message + each.why
        assert each.message.endswith(".")
        assert each.why.endswith(".")
        assert each.source != "none"
        assert each.source is not None or "common practice" in each.why.lower() or "from memory" in each.why, each
        assert "  " not in each.message


@pytest.mark.parametrize("chemistry", ["lipo", "lihv", "liion", "life"])
def test_every_stop_about_a_lithium_pack_defers_to_its_maker(chemistry: str) -> None:
    stops = [each for each in worst(chemistry) if each.severity == "stop" and each.rule != "cutoff-under-floor"]
    assert {"too-deep", "charged-below-limit", "charged-cold", "charged-hot", "over-charge-limit"} <= {each.rule for each in stops}
    for each in stops:
        assert "maker's instructions" in each.message, each
