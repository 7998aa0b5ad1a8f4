"""How the evidence of a run is shown."""

from __future__ import annotations

from dashboard.components.evidence import evidence_list, interval_strip, scale_of
from tests.dashboard.fakes import guess
from tests.dashboard.words import every, words
from tracker.domain.results import EvidenceVote, NotEnough

VOTES = (
    EvidenceVote(kind="charger", used_ah=guess(2.5, 0.05), weight=0.7, disagrees=False),
    EvidenceVote(kind="meter", used_ah=guess(0.25, 0.01), weight=0.0, disagrees=True, words="250 mAh was written down."),
    EvidenceVote(kind="usual_draw", used_ah=NotEnough("no earlier run"), weight=0.0, disagrees=False),
)


def test_every_piece_says_its_answer_and_how_much_it_counted() -> None:
    said = words(evidence_list(guess(2.49, 0.04), VOTES))
    assert "Charger count 2,500 ± 50 mAh counted 70 %" in said
    assert "Disagrees with the rest.  250 mAh was written down." in said
    assert "not enough to say: no earlier run not counted" in said


def test_the_scale_holds_every_interval_and_has_round_ends() -> None:
    low, high = scale_of([guess(4.65, 0.07), guess(4.46, 0.24), NotEnough("no")])
    assert low <= 4.22
    assert high >= 4.72
    assert abs(low * 10 - round(low * 10)) < 1e-9
    assert abs(high * 10 - round(high * 10)) < 1e-9


def test_a_scale_that_nearly_reaches_nothing_starts_there() -> None:
    assert scale_of([vote.used_ah for vote in VOTES])[0] == 0.0


def test_a_dot_stands_where_its_value_lies_on_the_scale() -> None:
    spans = list(every(interval_strip(guess(2.0, 1.0), 0.0, 4.0), "Span"))
    assert spans[0].style == {"left": "25.0%", "width": "50.0%"}
    assert spans[1].style == {"left": "50.0%"}


def test_nothing_written_down_is_said_in_words() -> None:
    assert "Nothing was written down" in words(evidence_list(NotEnough("no"), ()))


def test_one_known_value_of_nothing_still_has_a_scale() -> None:
    low, high = scale_of([guess(0.0, 0.0)])
    assert low < high
