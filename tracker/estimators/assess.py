"""Whole histories in, assessed runs and what they teach of each pack out; packs of one kind are looked at together."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from tracker.domain.controller import Controller, Vehicle
from tracker.domain.health import PackLearning
from tracker.domain.progress import Progress
from tracker.domain.results import GRADES, AssessedRun
from tracker.estimators import memory as kept
from tracker.estimators.cell_family import CellFamily, family
from tracker.estimators.draws import typed_draws
from tracker.estimators.hindsight import Hindsight, as_known_now, as_known_then, usual_draws
from tracker.estimators.history import PackHistory
from tracker.estimators.knowledge import PackKnowledge
from tracker.estimators.learned import Learned, dots_of, marks_of, pack_learning
from tracker.estimators.memory import Memory
from tracker.estimators.outings import cut
from tracker.estimators.pack_history import Course, layout_of, learn
from tracker.estimators.pack_state import knowledge_of
from tracker.estimators.readings import Draws, Setting, lay_out
from tracker.estimators.run_charge import fit_outings
from tracker.estimators.run_estimates import Said, estimates_of
from tracker.physics.gaussian_chain import Belief

CHUNK = 4000
"""Outings solved at once: large enough to be quick, small enough to stay within some hundred megabytes."""

DEEP_GRADES = GRADES[:2]
"""Grades that count as a deep run."""

View = Literal["now", "then"]
"""With everything known now, or each run with what was known before it."""


@dataclass(frozen=True, kw_only=True, slots=True)
class PackAssessment:
    """One pack's runs with their estimates, in time order, and what they teach of it."""

    pack: str
    runs: tuple[AssessedRun, ...]
    """All of them, or those whose answer may have changed since what was remembered."""
    learned: Learned

    @property
    def learning(self) -> PackLearning:
        """What is known of the pack now; deep runs are counted among `runs`."""
        return pack_learning(self.learned, sum(is_deep(each) for each in self.runs))


def is_deep(assessed: AssessedRun) -> bool:
    """Whether a run took a cell deep or damaged it.

    Parameters
    ----------
    assessed : AssessedRun
        The run [1]

    Returns
    -------
    bool
        By its grades [1]

    References
    ----------
    .. [1] The tool's own grades.
    """
    return any(cell.grade in DEEP_GRADES for cell in assessed.estimate.cells)


def assess_packs(
    histories: Sequence[PackHistory],
    vehicles: Mapping[str, Vehicle],
    controllers: Mapping[str, Controller],
    *,
    remembered: Mapping[str, Memory] | None = None,
    view: View = "now",
    progress: Progress | None = None,
) -> list[PackAssessment]:
    """Estimate what every run of some packs took out, and learn the packs from it.

    Parameters
    ----------
    histories : Sequence[PackHistory]
        Packs with their runs and charges in time order [1]
    vehicles : Mapping[str, Vehicle]
        By name [1]
    controllers : Mapping[str, Controller]
        By name [1]
    remembered : Mapping[str, Memory], optional
        What was kept of packs from the last time: of those only runs whose answer may have changed are estimated [1]
    view : {"now", "then"}
        With everything known now, or each run with what was known before it [1]
    progress : Progress, optional
        Told how many runs are done [1]

    Returns
    -------
    list[PackAssessment]
        In the order of `histories` [1]

    References
    ----------
    .. [1] Each step's own module.
    """
    typed = typed_draws(vehicles.values())
    trips = {vehicle.name: settings_of(vehicle, controllers) for vehicle in vehicles.values()}
    taken_up = {} if remembered is None or view == "then" else remembered
    courses: list[Course] = []
    digests: list[tuple[str, ...]] = []
    for history in histories:
        outings = cut(history.pack, history.runs, history.charges, family(history.pack.chemistry))
        digests.append(kept.digests_of(history.pack, outings, typed, trips))
        courses.append(kept.resumed(history.pack, outings, digests[-1], taken_up.get(history.pack.name)))
    learn(courses, typed, trips)
    told = _Told(progress, sum(len(outing.runs) for course in courses for outing in course.outings[course.fresh :]))
    looks = _look_again(courses, view, typed, trips, told)
    found: list[PackAssessment] = []
    for history, course, digest, look in zip(histories, courses, digests, looks, strict=True):
        before = taken_up.get(history.pack.name)
        learned = Learned(course.pack, kept.merged(course, digest, before, look.marks, look.dots))
        runs = tuple(AssessedRun(run=said.run, estimate=said.estimate) for said in look.said)
        found.append(PackAssessment(pack=history.pack.name, runs=runs, learned=learned))
    return found


def settings_of(vehicle: Vehicle, controllers: Mapping[str, Controller]) -> tuple[Setting, ...]:
    """Cutoffs of a vehicle's controllers as they stand.

    Parameters
    ----------
    vehicle : Vehicle
        The vehicle [1]
    controllers : Mapping[str, Controller]
        By name [1]

    Returns
    -------
    tuple[Setting, ...]
        Mode and voltage in the order of the vehicle's controllers [V]

    References
    ----------
    .. [1] No source: bookkeeping.
    """
    known = [controllers.get(name) for name in vehicle.controllers]
    return tuple(("none", None) if item is None else (item.cutoff_mode, item.cutoff_v) for item in known)


class _Told:
    """Keeps count for whoever wants to know how far the work is."""

    def __init__(self, progress: Progress | None, total: int) -> None:
        self._progress, self._total, self._done = progress, total, 0

    def add(self, runs: int) -> None:
        self._done += runs
        if self._progress is not None:
            self._progress("runs assessed", self._done, self._total)


@dataclass(slots=True, eq=False)
class _Look:
    """What the second look at a pack's outings brought, in time order."""

    said: list[Said]
    marks: list[kept.Mark]
    dots: list[list[kept.Dot]]


def _look_again(
    courses: Sequence[Course], view: View, typed: Draws, trips: Mapping[str, tuple[Setting, ...]], told: _Told
) -> list[_Look]:  # fmt: skip
    """Estimate outings once more, each with what all the others say of its pack."""
    kinds: dict[tuple[str, int], list[int]] = defaultdict(list)
    for i, course in enumerate(courses):
        kinds[course.pack.chemistry, course.pack.series].append(i)
    looks = [_Look([], [], []) for _ in courses]
    for (chemistry, _), members in kinds.items():
        some = [courses[i] for i in members]
        hindsight = as_known_now(some) if view == "now" else [as_known_then(course) for course in some]
        _Second(some, hindsight, family(chemistry), typed, trips, told).go([looks[i] for i in members], hindsight_draws=view == "now")
    return looks


class _Second:
    """The second look at packs of one chemistry and number of cells."""

    def __init__(
        self, courses: Sequence[Course], hindsight: Sequence[Hindsight], cells: CellFamily, typed: Draws,
        trips: Mapping[str, tuple[Setting, ...]], told: _Told,
    ) -> None:  # fmt: skip
        self.courses, self.hindsight, self.cells, self.typed, self.trips, self.told = courses, hindsight, cells, typed, trips, told
        self.layout = layout_of(courses[0].pack)

    def go(self, looks: Sequence[_Look], *, hindsight_draws: bool) -> None:
        """Look at every outing, those of one number of runs together, and put the answers in order."""
        usual = [usual_draws(course, hindsight=hindsight_draws) for course in self.courses]
        shapes: dict[int, list[tuple[int, int]]] = defaultdict(list)
        for c, (course, known) in enumerate(zip(self.courses, self.hindsight, strict=True)):
            for place in range(known.first, len(course.outings)):
                shapes[len(course.outings[place].runs)].append((c, place))
        answers: dict[tuple[int, int], tuple[list[Said], kept.Mark, list[kept.Dot]]] = {}
        for members in shapes.values():
            for begin in range(0, len(members), CHUNK):
                part = members[begin : begin + CHUNK]
                answers.update(zip(part, self._look(part, usual), strict=True))
                self.told.add(sum(len(self.courses[c].outings[place].runs) for c, place in part))
        for c, look in enumerate(looks):
            for place in range(self.hindsight[c].first, len(self.courses[c].outings)):
                said, mark, dots = answers[c, place]
                look.said.extend(said)
                look.marks.append(mark)
                look.dots.append(dots)

    def _look(
        self, part: Sequence[tuple[int, int]], usual: Sequence[Sequence[Draws]]
    ) -> list[tuple[list[Said], kept.Mark, list[kept.Dot]]]:
        outings = [self.courses[c].outings[place] for c, place in part]
        known = self._gathered(part)
        draws = [usual[c][place - self.hindsight[c].first] for c, place in part]
        readings = lay_out(outings, self.cells, draws, self.typed, self.trips)
        fit = fit_outings(readings, self.cells, known)
        said = estimates_of(outings, readings, fit, self.cells, known)
        rows = np.stack([self.courses[c].row(place) for c, place in part])
        marks = marks_of(outings, fit, known, rows, self.layout)
        wanted = [place >= len(self.courses[c].outings) - kept.CURVE_OUTINGS for c, place in part]
        return list(zip(said, marks, dots_of(outings, readings, fit, wanted), strict=True))

    def _gathered(self, part: Sequence[tuple[int, int]]) -> PackKnowledge:
        """What is known of each of these outings' packs, picked from the hindsight of each pack."""
        places = [(self.hindsight[c], place - self.hindsight[c].first) for c, place in part]
        belief_mean = np.stack([known.belief.mean[at] for known, at in places])
        covariance = np.stack([known.belief.covariance[at] for known, at in places])
        trait_mean = np.stack([known.trait_mean[at] for known, at in places])
        trait_variance = np.stack([known.trait_variance[at] for known, at in places])
        loss = np.stack([known.excess_loss[at] for known, at in places])
        return knowledge_of(Belief(belief_mean, covariance), trait_mean, trait_variance, loss, self.layout.cells)
