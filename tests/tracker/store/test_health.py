"""How a pack stands as text and back, and in a real database."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.tracker.store import builders as b
from tracker.domain.health import CellHealth, Outlook, PackHealth
from tracker.domain.results import Estimate, NotEnough
from tracker.errors import InputError
from tracker.store.database import Store
from tracker.store.health import health_of, text_of
from tracker.store.results import StoredKnowledge

numbers = st.floats(allow_nan=False, allow_infinity=False)
words = st.text(max_size=40)
counts = st.integers(0, 10**6)
quantities = st.builds(NotEnough, words) | st.builds(Estimate, value=numbers, low=numbers, high=numbers, sd=numbers)
cells = st.builds(CellHealth, cell=st.integers(1, 100), capacity_ah=quantities, resistance_ohm=quantities, excess_loss_per_month=quantities)
outlooks = st.builds(
    Outlook, full_cycles=numbers, weighted_cycles=numbers, fade_per_100_cycles=quantities, runs_left=quantities, resistance_growth=quantities,
    sentence=words,
)  # fmt: skip
healths = st.builds(
    PackHealth, pack=words, chemistry=words, rated_ah=numbers, runs=counts, deep_runs=counts, capacity_ah=quantities, health=quantities,
    cells=st.lists(cells, max_size=4).map(tuple), weakest_cell=st.none() | st.integers(1, 100), weakest_ratio=quantities,
    restless_cells=st.lists(st.integers(1, 100), max_size=4).map(tuple), outlook=outlooks, next=st.just(""), findings=st.just(()),
)  # fmt: skip

KNOWN = b.quantity(4.6)
HEALTH = PackHealth(
    pack="Tug 1", chemistry="lihv", rated_ah=5.0, runs=24, deep_runs=3, capacity_ah=KNOWN, health=b.quantity(0.92),
    cells=(
        CellHealth(cell=1, capacity_ah=KNOWN, resistance_ohm=b.quantity(0.004), excess_loss_per_month=b.quantity(0.01)),
        CellHealth(cell=2, capacity_ah=b.quantity(4.4), resistance_ohm=NotEnough("Not seen yet."), excess_loss_per_month=NotEnough("")),
    ),
    weakest_cell=2, weakest_ratio=b.quantity(0.95), restless_cells=(2,),
    outlook=Outlook(
        full_cycles=16.5, weighted_cycles=14.25, fade_per_100_cycles=b.quantity(0.02), runs_left=b.quantity(110.0),
        resistance_growth=NotEnough("Too early to say: 電池"), sentence="Fading slowly.",
    ),
    next="", findings=(),
)  # fmt: skip


@settings(deadline=None)
@given(health=healths)
def test_any_health_comes_back_the_same(health: PackHealth) -> None:
    """Round trip: to the last digit."""
    assert health_of(text_of(health)) == health


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_what_is_not_a_number_is_refused(value: float) -> None:
    """Limit: in any place; JSON has no such numbers, and another program could not read them."""
    for health in (
        replace(HEALTH, rated_ah=value),
        replace(HEALTH, capacity_ah=replace(KNOWN, low=value)),
        replace(HEALTH, cells=(replace(HEALTH.cells[0], resistance_ohm=replace(KNOWN, sd=value)),)),
        replace(HEALTH, outlook=replace(HEALTH.outlook, full_cycles=value)),
    ):
        with pytest.raises(InputError, match="not a number"):
            text_of(health)


def test_what_changes_with_the_clock_is_not_kept() -> None:
    """Limit: findings and the next step belong to the day on which they are asked for."""
    said = replace(HEALTH, next="Charge it.", findings=(b.FINDING,))
    assert text_of(said) == text_of(HEALTH)
    assert health_of(text_of(said)) == HEALTH


def test_the_text_holds_no_names_and_no_spaces_between() -> None:
    """Limit: a JSON list of four."""
    parts = json.loads(text_of(HEALTH))
    assert [len(part) for part in parts] == [5, 5, 2, 6]
    assert "capacity" not in text_of(HEALTH)


def knowledge(name: str, model: str = "model 1") -> StoredKnowledge:
    return StoredKnowledge(model=model, as_of=b.at(3), payload="{}", health=text_of(replace(HEALTH, pack=name)))


def test_it_is_stored_beside_what_was_learned(store: Store) -> None:
    """Round trip: in each kind of database; only of the model and the packs asked for; the later one in place of the earlier."""
    with store.writing() as records:
        b.fill(records, ("Tug 1", "Tug 2", "Tug 3"), runs=2)
        records.save_knowledge("Tug 1", knowledge("earlier"))
        records.save_knowledge("Tug 1", knowledge("Tug 1"))
        records.save_knowledge("Tug 2", knowledge("Tug 2", "model 2"))
    with store.reading() as records:
        assert records.healths("model 1") == {"Tug 1": HEALTH}
        assert records.healths("model 2") == {"Tug 2": replace(HEALTH, pack="Tug 2")}
        assert records.healths("model 1", ["Tug 2", "Tug 3"]) == {}
        assert records.healths("model 1", []) == {}
        assert records.knowledge(["Tug 1"], "model 1") == {"Tug 1": knowledge("Tug 1")}


def test_packs_of_which_nothing_was_learned_are_found(store: Store) -> None:
    """Limit: those with runs of which this model keeps nothing; not those never run."""
    with store.writing() as records:
        b.fill(records, ("Tug 1", "Tug 2", "Tug 3", "Tug 4"), runs=1)
        b.fill(records, ("never run",))
        records.save_knowledge("Tug 1", knowledge("Tug 1"))
        records.save_knowledge("Tug 2", knowledge("Tug 2", "model 2"))
        records.save_knowledge("Tug 3", replace(knowledge("Tug 3"), health=None))
    with store.reading() as records:
        assert records.unlearned_packs("model 1") == ("Tug 2", "Tug 3", "Tug 4")
        assert records.unlearned_packs("model 2") == ("Tug 1", "Tug 3", "Tug 4")


def test_marking_a_pack_stale_drops_what_was_learned_up_to_then_or_later(store: Store) -> None:
    """Limit: what was learned of earlier rows alone stays; other packs keep theirs."""
    with store.writing() as records:
        b.fill(records, ("Tug 1", "Tug 2"), runs=1)
        for name in ("Tug 1", "Tug 2"):
            records.save_knowledge(name, knowledge(name))
        records.mark_stale("Tug 1", b.at(4))
        assert set(records.healths("model 1")) == {"Tug 1", "Tug 2"}
        records.mark_stale("Tug 1", b.at(3))
        assert set(records.healths("model 1")) == {"Tug 2"}
        records.mark_stale("Tug 2")
        assert records.healths("model 1") == {}


def test_removing_a_pack_removes_what_was_learned_of_it(store: Store) -> None:
    """Limit: nothing is left to be taken up by another pack of the same name."""
    with store.writing() as records:
        b.fill(records, ("Tug 1",))
        records.save_knowledge("Tug 1", knowledge("Tug 1"))
        records.remove_pack("Tug 1")
        b.fill(records, ("Tug 1",))
        assert records.healths("model 1") == {}
