"""Looking ahead: what to set, and what to solder, so that packs are not driven too deep."""

from __future__ import annotations

from dataclasses import replace

from tracker.domain.divider import DividerPlan, DividerTask
from tracker.estimators.divider import plan_divider
from tracker.rules.divider import divider_cautions
from tracker.store.database import Store


class Planning:
    """Plans, made from what is stored and from what is asked."""

    def __init__(self, store: Store) -> None:
        self._store = store

    def divider(self, task: DividerTask) -> DividerPlan:
        """The resistor that moves a trip point, with what to heed; InputError where none does, which says what would."""
        return move_trip_point(task)


def move_trip_point(task: DividerTask) -> DividerPlan:
    """As `Planning.divider`, for which no logbook is needed."""
    plan = plan_divider(task)
    return replace(plan, cautions=divider_cautions(plan))
