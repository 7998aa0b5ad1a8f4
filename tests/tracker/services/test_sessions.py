"""Runs and charges written down one by one, and estimates that stay current."""

from __future__ import annotations

import dataclasses
from datetime import UTC, datetime, timedelta

import pytest

from tracker.domain.session import Charge, Run
from tracker.errors import ConflictError, FieldErrors, NotFoundError
from tracker.estimators import MODEL
from tracker.services import Services, open_services
from tracker.store.database import open_store

AT = datetime(2025, 5, 3, 10, tzinfo=UTC)
RUN = Run(pack="Tug A", vehicle="Pond tug", started_at=AT, run_s=840, before_v=(4.18, 4.18), after_v=(3.70, 3.69), rest_after_s=1800)
CHARGE = Charge(pack="Tug A", finished_at=AT + timedelta(hours=4), put_back_ah=3.9, end_v=(4.2, 4.2), goal="full")


def estimate_of(services: Services, run: Run) -> object:
    return next(each.estimate for each in services.runs.assess(run.pack) if each.run.started_at == run.started_at)


def test_a_run_is_stored_with_its_estimate(filled: Services) -> None:
    estimate = filled.runs.log(RUN)
    assert estimate.model == MODEL
    assert len(estimate.cells) == 2
    assert filled.runs.assess("Tug A")[-1].run == RUN
    assert estimate_of(filled, RUN) == estimate


def test_a_preview_says_the_same_and_stores_nothing(filled: Services) -> None:
    preview = filled.runs.preview(RUN)
    assert all(each.run != RUN for each in filled.runs.assess("Tug A"))
    assert preview == filled.runs.log(RUN)


def test_the_same_run_again_changes_nothing(filled: Services) -> None:
    assert filled.runs.log(RUN) == filled.runs.log(RUN)
    assert len(filled.runs.assess("Tug A")) == 3


def test_another_run_at_the_same_time_is_refused_unless_it_is_to_replace(filled: Services) -> None:
    filled.runs.log(RUN)
    other = dataclasses.replace(RUN, after_v=(3.60, 3.59))
    with pytest.raises(ConflictError, match="stored already"):
        filled.runs.log(other)
    assert filled.runs.assess("Tug A")[-1].run == RUN
    filled.runs.log(other, replace=True)
    assert filled.runs.assess("Tug A")[-1].run == other


def test_names_that_are_not_known_are_refused_with_those_that_are(filled: Services) -> None:
    with pytest.raises(NotFoundError, match=r"'Tug C' is not known; known are .*'Tug A'"):
        filled.runs.log(dataclasses.replace(RUN, pack="Tug C"))
    with pytest.raises(FieldErrors) as caught:
        filled.runs.log(dataclasses.replace(RUN, vehicle="Pond tub", after_v=(3.7, 3.7, 3.7)))
    assert set(caught.value.problems) == {"vehicle", "after_v"}
    assert "'Pond tug'" in caught.value.problems["vehicle"]
    with pytest.raises(NotFoundError):
        filled.charges.log(dataclasses.replace(CHARGE, pack="Tug C"))
    with pytest.raises(FieldErrors, match="cell_mohm"):
        filled.charges.log(dataclasses.replace(CHARGE, cell_ohm=(0.003,)))
    with pytest.raises(NotFoundError):
        filled.runs.assess("Tug C")
    with pytest.raises(NotFoundError):
        filled.packs.record("Tug C")
    with pytest.raises(NotFoundError):
        filled.runs.remove("Tug A", AT)


def test_a_charge_changes_what_the_run_before_it_took(filled: Services) -> None:
    before = filled.runs.log(RUN)
    filled.charges.log(CHARGE)
    after = estimate_of(filled, RUN)
    assert after != before
    filled.charges.remove("Tug A", CHARGE.finished_at)
    assert estimate_of(filled, RUN) == before


def test_a_charge_is_stored_once_and_replaced_only_when_asked(filled: Services) -> None:
    filled.charges.log(CHARGE)
    filled.charges.log(CHARGE)
    other = dataclasses.replace(CHARGE, put_back_ah=4.1)
    with pytest.raises(ConflictError, match="stored already"):
        filled.charges.log(other)
    filled.charges.log(other, replace=True)
    assert filled.charges.all("Tug A")[-1] == other


def test_estimates_owed_by_a_program_that_died_are_made_at_the_next_look(filled: Services, url: str) -> None:
    assert filled.runs.waiting() == 4
    with open_services(url) as later:
        assert {state.pack: state.runs for state in later.packs.states()} == {"Tug A": 2, "Tug B": 1, "Groomer": 1}
        assert later.runs.waiting() == 0


def test_estimates_of_another_model_version_are_made_anew(filled: Services, url: str) -> None:
    current = filled.runs.assess()
    with open_store(url) as store, store.writing() as records:
        for each in current:
            old = dataclasses.replace(each.estimate, model="of old", cells=())
            records.save_estimates(each.run.pack, [(each.run.started_at, old)])
    assert filled.runs.waiting() == 4
    assert filled.runs.assess() == current


def test_everything_can_be_made_again_and_comes_out_the_same(filled: Services) -> None:
    current = filled.runs.assess()
    seen: list[tuple[int, int | None]] = []
    assert filled.runs.assess(everything=True, progress=lambda _label, done, total: seen.append((done, total))) == current
    assert seen[-1] == (4, 4)


def test_assess_is_in_order_of_pack_and_time(filled: Services) -> None:
    keys = [(each.run.pack, each.run.started_at) for each in filled.runs.assess()]
    assert keys == sorted(keys)
    assert {pack for pack, _ in keys} == {"Groomer", "Tug A", "Tug B"}
