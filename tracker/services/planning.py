"""Looking ahead: what to set, and what to solder, so that packs are not driven too deep."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime

from tracker import chemistry
from tracker.domain.divider import DividerPlan, DividerTask
from tracker.domain.planning import CutoffPlan, CutoffTask
from tracker.errors import FieldErrors
from tracker.estimators.cell_family import family
from tracker.estimators.cutoff import plan_from
from tracker.estimators.divider import plan_divider
from tracker.rules.divider import divider_cautions
from tracker.rules.planning import plan_findings
from tracker.services.assessing import refresh
from tracker.services.cutoff_setup import known_of, packs_of_plan, setup_of
from tracker.services.packs import state_of
from tracker.services.studies import Studies
from tracker.store.database import Store
from tracker.units import celsius_from_kelvin, kelvin_from_celsius

LEAST_RISK, MOST_RISK = 0.002, 0.5
COLDEST_K, HOTTEST_K = kelvin_from_celsius(-20.0), kelvin_from_celsius(60.0)
MOST_A = 2000.0


class Planning:
    """Plans, made from what is stored and from what is asked."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._studies = Studies()

    def cutoff(self, task: CutoffTask) -> CutoffPlan:
        """Where the controllers of a model should let go on a pack, and what they risk as they stand.

        NotFoundError when pack or model is not stored; FieldErrors when what is asked is not possible.
        """
        return self._plan(task, whole=True)

    def cutoff_at_once(self, task: CutoffTask) -> CutoffPlan:
        """As `cutoff`, but without what takes longest where that is not known yet; `whole` in the plan says whether it is all there.

        What is there is what `cutoff` says: of the findings those about all controllers together are missing.
        """
        return self._plan(task, whole=False)

    def _plan(self, task: CutoffTask, *, whole: bool) -> CutoffPlan:
        problems = dict(_problems(task))
        if problems:
            raise FieldErrors(problems)
        asked, kept = (task.pack, task.vehicle), self._store.kept
        with self._store.reading() as records:
            packs = kept.read(records, ("packs of plan", *asked), lambda: packs_of_plan(records, *asked))
        refresh(self._store, packs)
        with self._store.reading() as records:
            setup = setup_of(kept.read(records, ("plan", *asked), lambda: known_of(records, *asked)), task)
            state = state_of(self._store, records, task.pack, datetime.now(UTC))
        study = self._studies.of(task, setup)
        whole = whole or self._studies.knows_together(task, setup)
        plan = plan_from(study, task, setup, self._studies.together(task, setup) if whole else None, whole=whole)
        controllers = {controller.name: controller for controller in setup.controllers}
        return replace(plan, findings=plan_findings(plan, controllers, chemistry.load(setup.pack.chemistry), state))

    def warm_up(self) -> None:
        """Read in once what every plan is made with: the chemistries' curves."""
        for name in chemistry.names():
            family(name)

    def divider(self, task: DividerTask) -> DividerPlan:
        """The resistor that moves a trip point, with what to heed; InputError where none does, which says what would."""
        return move_trip_point(task)


def _problems(task: CutoffTask) -> Iterator[tuple[str, str]]:
    if not LEAST_RISK <= task.risk <= MOST_RISK:
        yield (
            "risk",
            f"{task.risk:g} is not possible; allowed are {LEAST_RISK:g} to {MOST_RISK:g}, a chance a run (0.01 is one run in a hundred)",
        )
    if not COLDEST_K <= task.pack_k <= HOTTEST_K:
        yield "pack_c", f"{celsius_from_kelvin(task.pack_k):g} °C is not possible; allowed are -20 to 60 °C"
    for column, current_a in (("mean_a", task.mean_a), ("burst_a", task.burst_a)):
        if current_a is not None and not 0.0 < current_a <= MOST_A:
            yield column, f"{current_a:g} A is not possible; allowed is more than 0 up to {MOST_A:g} A"
    if task.mean_a is not None and task.burst_a is not None and task.burst_a < task.mean_a:
        yield "burst_a", f"{task.burst_a:g} A is less than the mean of {task.mean_a:g} A; bursts are above the mean"


def move_trip_point(task: DividerTask) -> DividerPlan:
    """As `Planning.divider`, for which no logbook is needed."""
    plan = plan_divider(task)
    return replace(plan, cautions=divider_cautions(plan))
