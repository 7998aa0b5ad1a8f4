"""Histories that the accuracy table is made of, and the figures of each row."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from datetime import timedelta

from tests.tracker.estimators.cell_tables import CELLS
from tests.tracker.estimators.judging import (
    Alarms,
    Answers,
    Naming,
    SetAside,
    alarms,
    assess,
    capacities,
    restless_cells,
    set_aside,
    used,
    used_then,
    weak_cells,
)
from tests.tracker.estimators.simulated_packs import Habits, SimulatedPack, always, first, history, never
from tests.tracker.estimators.slips import with_slips

TAUGHT, TAUGHT_TOTALS = 3, 4
"""Counted charges before the runs judged from voltages alone."""
MAKES = tuple(cell.parameters for cell in CELLS)
POUCH = tuple(cell.parameters for cell in CELLS if cell.chemistry == "lipo")
CYLINDER = tuple(cell.parameters for cell in CELLS if cell.chemistry == "liion")
IN_NO_FILE = tuple(cell.parameters for cell in CELLS if not cell.in_chemistry_file)


@dataclass(frozen=True, kw_only=True, slots=True)
class Sample:
    """How many packs of each make each row is judged on."""

    packs: int = 10
    named_packs: int = 10
    first_number: int = 100
    """Packs are numbered from here: other numbers are other packs."""


QUICK = Sample(packs=3, named_packs=3)


def make_packs(
    sample: Sample, habits: Habits, makes: Iterable[str] = MAKES, *, count: int | None = None, shift: int = 0
) -> list[SimulatedPack]:
    """Packs of each make with the same habits; of every other one, charges that were not counted are not written down at all."""
    written = (habits, replace(habits, uncounted_written=False))
    return [
        history(make, sample.first_number + 1000 * shift + number, written[number % 2])
        for make in makes
        for number in range(sample.packs if count is None else count)
    ]


def from_run(start: int) -> Callable[[int], bool]:
    """Judge runs from this number on, counted from 0."""
    return lambda number: number >= start


def counted(sample: Sample) -> Answers:
    """Charger's count after every run, voltages of each cell."""
    return used(make_packs(sample, Habits(runs=10)), always)


def taught(sample: Sample, makes: Iterable[str], *, then: bool = False) -> Answers:
    """Three counted charges, then voltages of each cell alone; judged with all of the history, or with what came before only."""
    packs = make_packs(sample, Habits(runs=11, counted=first(TAUGHT)), makes, shift=1)
    return used_then(packs, from_run(TAUGHT)) if then else used(packs, from_run(TAUGHT))


def taught_totals(sample: Sample, *, then: bool = False) -> Answers:
    """Four counted charges, then pack totals alone, and nothing but totals throughout."""
    packs = make_packs(sample, Habits(runs=11, counted=first(TAUGHT_TOTALS), totals_only=True), shift=2)
    return used_then(packs, from_run(TAUGHT_TOTALS)) if then else used(packs, from_run(TAUGHT_TOTALS))


def never_counted(sample: Sample, *, totals: bool = False) -> Answers:
    """Voltages alone throughout."""
    return used(make_packs(sample, Habits(runs=8, counted=never, totals_only=totals), shift=3), always)


def weakest(sample: Sample) -> tuple[Naming, Answers]:
    """One cell 12 % weaker than its neighbours, eight counted runs; and packs of cells that hardly differ."""
    weak = make_packs(sample, Habits(runs=8, weak_cell=True), count=sample.named_packs, shift=4)
    return weak_cells(weak, make_packs(sample, Habits(runs=8, alike=True), count=sample.named_packs, shift=5))


def restless(sample: Sample) -> Naming:
    """One cell that loses 8 % a month more than its neighbours, standing up to four weeks between runs; and packs without."""
    idle = timedelta(days=28)
    odd = make_packs(sample, Habits(runs=10, restless_per_month=0.08, longest_idle=idle), count=sample.named_packs, shift=6)
    return restless_cells(odd, make_packs(sample, Habits(runs=10, longest_idle=idle), count=sample.named_packs, shift=7))


_DEEP = Habits(runs=10, deep_share=0.3)
FLOORS: dict[str, tuple[Habits, int]] = {
    "counted": (_DEEP, 0),
    "counted, lowest total in every other run": (replace(_DEEP, loaded_every=2), 0),
    "after 3 counted": (replace(_DEEP, counted=first(TAUGHT)), TAUGHT),
    "never counted": (replace(_DEEP, counted=never), 0),
}
"""What was written down besides voltages of each cell at rest, and the first run judged."""


def floor_alarms(sample: Sample, written: str) -> Alarms:
    """Cells driven below their floor in a good part of the runs."""
    habits, start = FLOORS[written]
    return alarms(make_packs(sample, habits, shift=8), from_run(start))


def capacity(sample: Sample) -> Answers:
    """A fresh pack with twelve deep counted runs."""
    habits = Habits(runs=12, shallowest=0.75, deepest=0.93, fade_per_run=0.0, growth_per_run=0.0)
    return capacities(make_packs(sample, habits, count=sample.named_packs, shift=9))


@dataclass(frozen=True, slots=True)
class Slipped:
    """Runs whose rows are sound, runs that a slip touches, and what was set aside."""

    sound: Answers
    touched: Answers
    aside: SetAside


def slipped(sample: Sample, *, voltages_alone: bool = False) -> Slipped:
    """One row in twenty written down wrongly: counted throughout, or voltages alone after three counted charges."""
    pattern, start = (first(TAUGHT), TAUGHT) if voltages_alone else (always, 0)
    packs = [with_slips(pack) for pack in make_packs(sample, Habits(runs=12, counted=pattern), shift=10)]
    found = assess(packs)
    answers = used(packs, from_run(start), found)
    return Slipped(answers.only(lambda one: not one.slips), answers.only(lambda one: bool(one.slips)), set_aside(packs, found))
