"""A logbook that grows row by row with what was learned kept as text in between, against learning all of it at once."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime

import numpy as np

from tracker.domain.controller import Controller, Vehicle
from tracker.domain.results import RunEstimate
from tracker.domain.session import Charge, Run
from tracker.estimators import memory as kept
from tracker.estimators.assess import PackAssessment, assess_packs
from tracker.estimators.history import PackHistory
from tracker.estimators.memory import Memory

NO_VEHICLES: Mapping[str, Vehicle] = {}
NO_CONTROLLERS: Mapping[str, Controller] = {}


@dataclass
class Diary:
    """What is stored of one pack: estimates by start of the run, and what was learned, as text."""

    estimates: dict[datetime, RunEstimate] = field(default_factory=dict)
    text: str | None = None
    fresh: list[int] = field(default_factory=list)
    """How many runs each look estimated anew."""

    def look(
        self, history: PackHistory, vehicles: Mapping[str, Vehicle] = NO_VEHICLES, controllers: Mapping[str, Controller] = NO_CONTROLLERS
    ) -> PackAssessment:
        """Take up what is stored, estimate what may have changed, and store it."""
        remembered = {} if self.text is None else {history.pack.name: kept.read(self.text)}
        found = assess_packs([history], vehicles, controllers, remembered=remembered)[0]
        assert [each.run for each in found.runs] == list(history.runs[len(history.runs) - len(found.runs) :])
        self.estimates = {run.started_at: self.estimates[run.started_at] for run in history.runs[: len(history.runs) - len(found.runs)]}
        self.estimates |= {each.run.started_at: each.estimate for each in found.runs}
        self.text = kept.written(found.learned.memory)
        self.fresh.append(len(found.runs))
        return found

    def differences(
        self, history: PackHistory, vehicles: Mapping[str, Vehicle] = NO_VEHICLES, controllers: Mapping[str, Controller] = NO_CONTROLLERS
    ) -> list[str]:
        """What is stored that differs in the last digit from learning the history at once; the state of every pack is among it."""
        return self.differences_from(assess_packs([history], vehicles, controllers)[0])

    def differences_from(self, whole: PackAssessment) -> list[str]:
        """What is stored that differs in the last digit from this."""
        found = [f"run {place}" for place, each in enumerate(whole.runs) if self.estimates.get(each.run.started_at) != each.estimate]
        if len(self.estimates) != len(whole.runs):
            found.append(f"{len(self.estimates)} runs for {len(whole.runs)}")
        return found + ([] if self.text is None else memory_differences(kept.read(self.text), whole.learned.memory))


def memory_differences(one: Memory, other: Memory) -> list[str]:
    """Parts in which two memories differ."""
    found = [part for part in ("digests", "drawn", "marks", "dots", "dots_first") if getattr(one, part) != getattr(other, part)]
    found += [f"row {place} is in one alone" for place in sorted(one.rows.keys() ^ other.rows.keys())]
    return found + [
        f"row {place}" for place in one.rows.keys() & other.rows.keys() if not np.array_equal(one.rows[place], other.rows[place])
    ]


def growing(history: PackHistory) -> Iterable[PackHistory]:
    """The history as it stood after each row that was written down, in the order in which things happened."""
    rows: list[tuple[datetime, int, Run | Charge]] = [(run.started_at, 1, run) for run in history.runs]
    rows += [(charge.finished_at, 0, charge) for charge in history.charges]
    runs: list[Run] = []
    charges: list[Charge] = []
    for _, _, row in sorted(rows, key=lambda each: each[:2]):
        if isinstance(row, Run):
            runs.append(row)
        else:
            charges.append(row)
        yield replace(history, runs=tuple(runs), charges=tuple(charges))


def changed_run(history: PackHistory, place: int, **changes: object) -> PackHistory:
    """The history with one run written otherwise."""
    runs = list(history.runs)
    runs[place] = replace(runs[place], **changes)  # type: ignore[arg-type]
    return replace(history, runs=tuple(sorted(runs, key=lambda run: run.started_at)))


def changed_charge(history: PackHistory, place: int, **changes: object) -> PackHistory:
    """The history with one charge written otherwise."""
    charges = list(history.charges)
    charges[place] = replace(charges[place], **changes)  # type: ignore[arg-type]
    return replace(history, charges=tuple(sorted(charges, key=lambda charge: charge.finished_at)))


def without_run(history: PackHistory, place: int) -> PackHistory:
    """The history without one run."""
    return replace(history, runs=(*history.runs[:place], *history.runs[place:][1:]))


def without_charge(history: PackHistory, place: int) -> PackHistory:
    """The history without one charge."""
    return replace(history, charges=(*history.charges[:place], *history.charges[place:][1:]))
