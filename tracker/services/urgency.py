"""The order in which findings are shown."""

from __future__ import annotations

from collections.abc import Iterable

from tracker.domain.results import SEVERITIES, Finding


def most_urgent_first(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Return each finding once: the most pressing first, and of the equally pressing the latest first."""
    once = dict.fromkeys(findings)
    return tuple(sorted(once, key=_order))


def _order(finding: Finding) -> tuple[int, float, str, str]:
    # What has no time of its own is about now, and so counts as later than anything dated.
    age = float("-inf") if finding.at is None else -finding.at.timestamp()
    return SEVERITIES.index(finding.severity), age, finding.subject, finding.rule
