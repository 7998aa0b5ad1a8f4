"""Round trip: an estimate comes back from its text to the last digit."""

from __future__ import annotations

import json
import math
from datetime import UTC
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.tracker.store import builders as b
from tracker.domain.results import GRADES, CellDepth, Estimate, EvidenceVote, Finding, NotEnough, RunEstimate
from tracker.errors import InputError
from tracker.store.estimates import estimate_of, text_of, worst_grade

numbers = st.floats(allow_nan=False, allow_infinity=False)
words = st.text(max_size=40)
probabilities = st.none() | st.floats(0, 1)
quantities = st.builds(NotEnough, words) | st.builds(Estimate, value=numbers, low=numbers, high=numbers, sd=numbers)
votes = st.builds(EvidenceVote, kind=words, used_ah=quantities, weight=numbers, disagrees=st.booleans(), words=words)
cells = st.builds(
    CellDepth,
    cell=st.integers(1, 100),
    soc_before=quantities,
    soc_after=quantities,
    lowest_loaded_v=quantities,
    below_floor_probability=probabilities,
    below_reserve_probability=probabilities,
    below_half_reserve_probability=probabilities,
    grade=st.none() | st.sampled_from(GRADES),
)
findings = st.builds(
    Finding,
    rule=words,
    severity=words,
    subject=words,
    message=words,
    why=words,
    source=st.none() | words,
    at=st.none() | st.datetimes(timezones=st.just(UTC)),
)


def tuples(of: st.SearchStrategy[Any]) -> st.SearchStrategy[tuple[Any, ...]]:
    return st.lists(of, max_size=4).map(tuple)


@settings(deadline=None)
@given(
    estimate=st.builds(RunEstimate, model=words, used_ah=quantities, evidence=tuples(votes), cells=tuples(cells), findings=tuples(findings))
)
def test_any_estimate_comes_back_the_same(estimate: RunEstimate) -> None:
    assert estimate_of(text_of(estimate), estimate.model) == estimate


def test_the_text_holds_no_names_and_no_spaces() -> None:
    """Of a hundred thousand estimates the names would be the larger part."""
    text = text_of(b.estimate(findings=()))
    assert json.loads(text)[1] == [["charger", [2.1, 2.0, 2.2, 0.06], 1.0, True, "2200 mAh put back"]]
    assert "soc_after" not in text
    assert ", " not in text


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_what_is_not_a_number_is_refused(value: float) -> None:
    with pytest.raises(InputError, match="not a number"):
        text_of(b.estimate(used_ah=Estimate(value=1.0, low=value, high=2.0, sd=0.1)))


@pytest.mark.parametrize(
    ("grades", "worst"),
    [
        (("fine", "low", "fine"), "low"),
        (("deep", "damaging"), "damaging"),
        ((None, "fine"), "fine"),
        ((None, None), None),
        ((), None),
        (("fine", "deep", None), "deep"),
    ],
)
def test_the_worst_grade_is_that_of_the_cell_driven_furthest(grades: tuple[str | None, ...], worst: str | None) -> None:
    depths = tuple(b.estimate(grade=grade).cells[0] for grade in grades)
    assert worst_grade(b.estimate(cells=depths)) == worst
