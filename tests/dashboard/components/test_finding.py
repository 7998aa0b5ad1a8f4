"""Finding cards: what differs by severity, what is folded, where they lead."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from dashboard.components.finding import finding_card, finding_list, grouped
from tests.dashboard.fakes import HOSTILE
from tests.dashboard.words import every, words
from tracker.domain.results import SEVERITIES, Finding

AT = datetime(2025, 6, 14, 12, 0, tzinfo=UTC)


def finding(severity: str = "caution", rule: str = "spread", subject: str = "Tug 1", at: datetime | None = AT) -> Finding:
    return Finding(rule=rule, severity=severity, subject=subject, message="Do this.", why="Because.", source="Example 2019, table 2", at=at)


def test_severities_differ_in_word_and_in_shape() -> None:
    cards = [finding_card(finding(severity)) for severity in SEVERITIES]
    marks = [next(span for span in every(card, "Span") if "mark" in (getattr(span, "className", "") or "")) for card in cards]
    assert [words(mark).strip() for mark in marks] == ["Stop", "Caution", "Note"]
    assert len({mark.className for mark in marks}) == 3


def test_a_card_says_what_to_do_why_and_who_says_so() -> None:
    said = words(finding_card(finding()))
    assert "Do this." in said
    assert "Because." in said
    assert "Example 2019, table 2" in said


def test_a_cutoff_that_is_too_low_leads_to_the_controllers() -> None:
    card = finding_card(finding(rule="cutoff-under-floor", subject=HOSTILE), packs={"Tug 1"})
    assert [link.href for link in every(card, "Link")] == ["/controllers"]


def test_a_subject_leads_to_its_page_only_when_it_is_a_pack() -> None:
    assert [link.href for link in every(finding_card(finding(subject=HOSTILE), packs={HOSTILE}), "Link")] == [
        "/pack/%3Cscript%3Ealert%281%29%3C%2Fscript%3E%20%22%26%27%2F"
    ]
    assert list(every(finding_card(finding(subject="Left controller"), packs={HOSTILE}), "Link")) == []


def test_alike_findings_fold_into_the_newest() -> None:
    older, newer, other = finding(at=AT - timedelta(days=3)), finding(at=AT), finding(rule="cold")
    groups = grouped([older, newer, other])
    assert [(group.finding, group.more) for group in groups] == [(newer, 1), (other, 0)]
    assert "1 earlier one like it" in words(finding_card(groups[0].finding, more=groups[0].more))


def test_the_rest_waits_under_a_fold_that_says_how_many() -> None:
    listed = finding_list(grouped([finding(rule=str(number)) for number in range(7)]), open_first=4)
    folds = [fold for fold in every(listed, "Details") if getattr(fold, "className", "") == "folded"]
    assert [words(fold.children[0]) for fold in folds] == ["3 more findings"]
    assert len(list(every(listed, "Article"))) == 7
