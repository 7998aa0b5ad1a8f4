"""A weak cell, a restless one, and a worn or spent pack; and nothing said where the evidence does not carry it."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest

from tests.tracker.rules.evidence_maker import UNTOLD, findings_of, health, of_pack, only, pack, sure
from tracker.chemistry import names
from tracker.domain.pack import Pack
from tracker.rules import PACK_RULES, pack_findings
from tracker.rules.ageing import resistance_doubled, restless_cell, spent, weakest_cell, worn
from tracker.rules.evidence import PackEvidence

AGEING = (weakest_cell, restless_cell, worn, spent, resistance_doubled)


def learned(of: Pack | None = None, **changes: Any) -> PackEvidence:
    return of_pack(of=of, learned=health(of, **changes))


def worst(of: Pack | None = None, held: float = 0.5) -> PackEvidence:
    changes = {"weakest_cell": 2, "weakest_ratio": sure(0.8), "restless_cells": (1,), "growth": sure(2.5, 0.1), "excess": sure(0.1)}
    return learned(of, health=sure(held), **changes)


def test_the_weakest_cell_is_named_with_what_it_lacks_and_what_to_do() -> None:
    found = only(weakest_cell, learned(pack(series=3), weakest_cell=3, weakest_ratio=sure(0.88, 0.012)))
    assert found.severity == "caution"
    assert found.message.startswith("Cell 3 of Tug 1 holds less than the others: by about 12 % (10 % to 14 %).")
    assert "Go by that cell and not by the pack's total" in found.message
    assert "empty first and is driven under its floor of 3.00 V" in found.why
    assert found.at is None


def test_of_two_cells_there_is_one_other() -> None:
    assert "less than the other: by" in only(weakest_cell, learned(weakest_cell=1, weakest_ratio=sure(0.9))).message


@pytest.mark.parametrize(("ratio", "severity"), [(0.93, "caution"), (0.949, "caution"), (0.951, "note"), (0.98, "note")])
def test_a_slightly_weaker_cell_is_only_noted(ratio: float, severity: str) -> None:
    assert only(weakest_cell, learned(weakest_cell=1, weakest_ratio=sure(ratio, 0.005))).severity == severity


def test_a_weak_cell_of_which_nothing_more_is_known_is_named_all_the_same() -> None:
    found = only(weakest_cell, learned(weakest_cell=1))
    assert found.message.startswith("Cell 1 of Tug 1 holds less than the other. Go by")
    assert found.severity == "caution"


def test_a_weak_nickel_cell_is_reversed() -> None:
    assert "reversed by the others" in only(weakest_cell, learned(pack("nimh", 6), weakest_cell=4, weakest_ratio=sure(0.8))).why


def test_a_restless_cell_is_levelled_watched_and_left_to_its_maker() -> None:
    found = only(restless_cell, learned(restless_cells=(2,), excess=sure(0.06)))
    assert found.message.startswith(
        "Cell 2 of Tug 1 loses more charge than its neighbours while the pack stands, about 6 % of its capacity a month more."
    )
    for words in (
        "balance charge",
        "measure every cell again after some days",
        "unattended",
        "swells, stop using it",
        "maker's instructions",
    ):
        assert words in found.message
    assert found.severity == "caution"


def test_several_restless_cells_are_one_finding() -> None:
    found = only(restless_cell, learned(pack(series=3), restless_cells=(1, 3), excess=sure(0.06)))
    assert "Cells 1 and 3 of Tug 1 lose more charge than their neighbours" in found.message
    assert "about 6 % and 6 % of their capacity" in found.message
    assert "a month more" not in only(restless_cell, learned(restless_cells=(1,))).message


@pytest.mark.parametrize("chemistry", ["nimh", "lead"])
def test_no_balance_charge_where_there_is_none(chemistry: str) -> None:
    message = only(restless_cell, learned(pack(chemistry, 6), restless_cells=(1,))).message
    assert "balance" not in message
    assert "maker's instructions come first" in message


def test_under_eighty_percent_is_a_note_and_a_convention() -> None:
    found = only(worn, learned(health=sure(0.75, 0.02)))
    assert found.severity == "note"
    assert "holds about 75 % of its rated 5,000 mAh (72 % to 78 %)" in found.message
    assert "by convention" in found.message
    assert "a convention" in found.why
    assert "USABC" in str(found.source)
    assert "IEEE 1188" in str(found.source)


def test_under_sixty_percent_it_is_spent_and_not_merely_worn() -> None:
    evidence = learned(health=sure(0.55, 0.02))
    found = only(spent, evidence)
    assert found.severity == "caution"
    assert "Take it out of use and to a battery recycling point" in found.message
    assert "IEC 61960-3" in str(found.source)
    assert "from memory" in str(found.source)
    assert findings_of(worn, evidence) == []


@pytest.mark.parametrize(
    ("value", "sd", "rules"),
    [
        (0.78, 0.05, []),
        (0.78, 0.01, ["worn-capacity"]),
        (0.81, 0.001, []),
        (0.58, 0.05, ["worn-capacity"]),
        (0.58, 0.01, ["spent-capacity"]),
        (0.5, 0.3, []),
    ],
)
def test_capacity_is_judged_only_where_the_interval_carries_it(value: float, sd: float, rules: list[str]) -> None:
    # Limits: nine chances in ten that it is past the line, which is 1.28 standard uncertainties.
    assert [each.rule for each in pack_findings(learned(health=sure(value, sd)))] == rules


@pytest.mark.parametrize(
    ("value", "sd", "told"), [(2.5, 0.2, True), (2.5, 0.5, False), (2.0, 0.1, False), (1.5, 0.1, False), (2.2, 0.1, True)]
)
def test_doubled_resistance_is_told_only_where_the_interval_carries_it(value: float, sd: float, told: bool) -> None:
    assert bool(findings_of(resistance_doubled, learned(growth=sure(value, sd)))) is told


def test_doubled_resistance_says_what_to_do() -> None:
    found = only(resistance_doubled, learned(growth=sure(2.5, 0.1)))
    assert "about 2.5 times what it was when its record began (2.3 to 2.7)" in found.message
    assert found.severity == "caution"
    assert "common practice" in found.why


@pytest.mark.parametrize("rule", AGEING)
def test_nothing_is_said_without_evidence(rule: Any) -> None:
    assert rule in PACK_RULES
    assert findings_of(rule, of_pack()) == []
    assert findings_of(rule, learned()) == []
    assert findings_of(rule, learned(health=UNTOLD, capacity_ah=UNTOLD)) == []
    assert findings_of(rule, worst(pack(retired_on=date(2025, 1, 2)))) == []


@pytest.mark.parametrize("chemistry", names())
@pytest.mark.parametrize("held", [0.5, 0.7])
def test_all_of_it_at_once(chemistry: str, held: float) -> None:
    found = pack_findings(worst(pack(chemistry, 2), held))
    assert len(found) == 4
    for each in found:
        assert each.at is None
        assert each.subject == "Tug 1"
        assert "safe" not in each.message.lower()
        assert "{" not in each.message + each.why
