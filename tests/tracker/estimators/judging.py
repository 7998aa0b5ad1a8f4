"""Estimates held against the truth: errors, intervals, grades, named cells and slips set aside."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np
from scipy.special import ndtri

from tests.tracker.estimators.simulated_packs import RunTruth, SimulatedPack
from tracker.domain.health import PackLearning
from tracker.domain.results import AssessedRun, Estimate, Quantity
from tracker.estimators.assess import PackAssessment, assess_packs
from tracker.estimators.cell_family import family

NOMINAL = (0.50, 0.80, 0.90, 0.95)
ALARMING = ("deep", "damaging")


@dataclass(frozen=True, kw_only=True, slots=True)
class Answer:
    """One estimate against the truth, over what errors are counted in: rated capacity, or the truth itself."""

    make: str
    pack: str
    at: datetime | None = None
    slips: tuple[str, ...] = ()
    error: float = float("nan")
    """Not a number where nothing was said."""
    sd: float = float("nan")
    held: bool = False


@dataclass(frozen=True, slots=True)
class Answers:
    """Many of them, and the cases that got no estimate."""

    each: tuple[Answer, ...]
    silent: tuple[Answer, ...] = ()

    @classmethod
    def of_all(cls, found: Iterable[Answer]) -> Answers:
        """Sort those without an estimate out."""
        known = list(found)
        said, silent = ([one for one in known if np.isnan(one.error) == unsaid] for unsaid in (False, True))
        return cls(tuple(said), tuple(silent))

    @property
    def unsaid(self) -> int:
        """Number of cases without an estimate."""
        return len(self.silent)

    @property
    def rms(self) -> float:
        """Root mean square error."""
        return float(np.sqrt(np.mean(np.square([one.error for one in self.each])))) if self.each else float("nan")

    @property
    def mean(self) -> float:
        """Mean error."""
        return float(np.mean([one.error for one in self.each])) if self.each else float("nan")

    @property
    def held(self) -> float:
        """Share of 90 % intervals that hold the truth."""
        return float(np.mean([one.held for one in self.each])) if self.each else float("nan")

    @property
    def packs(self) -> int:
        """Number of packs among them."""
        return len({one.pack for one in self.each})

    @property
    def makes(self) -> tuple[str, ...]:
        """Names of the makes among them."""
        return tuple(sorted({one.make for one in self.each}))

    def within(self, limit: float) -> float:
        """Share of errors within a limit."""
        return float(np.mean([abs(one.error) <= limit for one in self.each])) if self.each else float("nan")

    def achieved(self, nominal: float) -> float:
        """Share of central intervals of this nominal probability, made from value and standard uncertainty, that hold the truth."""
        factor = float(ndtri(0.5 + nominal / 2.0))
        return float(np.mean([abs(one.error) <= factor * one.sd for one in self.each])) if self.each else float("nan")

    def only(self, wanted: Callable[[Answer], bool]) -> Answers:
        """Those that are wanted."""
        return Answers(tuple(filter(wanted, self.each)), tuple(filter(wanted, self.silent)))

    def of(self, make: str) -> Answers:
        """Those of one make."""
        return self.only(lambda one: one.make == make)


def joined(parts: Iterable[Answers]) -> Answers:
    """Put several groups together."""
    known = list(parts)
    return Answers(tuple(one for part in known for one in part.each), tuple(one for part in known for one in part.silent))


def assess(packs: Sequence[SimulatedPack]) -> list[PackAssessment]:
    """Estimate the histories as known now."""
    return assess_packs([pack.history for pack in packs], {}, {})


def learning(assessment: PackAssessment) -> PackLearning | None:
    """What the pack's history taught, where that is estimated."""
    found: PackLearning | None = getattr(assessment, "learning", None)
    return found


def used(packs: Sequence[SimulatedPack], judged: Callable[[int], bool], found: Sequence[PackAssessment] | None = None) -> Answers:
    """Charge used in the runs whose number, from 0, is judged; errors over rated."""
    return Answers.of_all(
        _answer(pack, truth, item)
        for pack, assessment in zip(packs, found if found is not None else assess(packs), strict=True)
        for number, (truth, item) in enumerate(zip(pack.runs, assessment.runs, strict=True))
        if judged(number)
    )


def used_then(packs: Sequence[SimulatedPack], judged: Callable[[int], bool]) -> Answers:
    """The same as known then: each run from the history up to it and the charge right after it, and nothing later."""
    longest = max(len(pack.runs) for pack in packs)
    return joined(used([_cut(pack, last) for pack in packs], _just(last)) for last in range(longest) if judged(last))


def _just(wanted: int) -> Callable[[int], bool]:
    return lambda number: number == wanted


def _cut(pack: SimulatedPack, last: int) -> SimulatedPack:
    runs = pack.history.runs[: last + 1]
    following = (
        pack.history.runs[last + 1].started_at
        if last + 1 < len(pack.history.runs)
        else datetime.max.replace(tzinfo=runs[-1].started_at.tzinfo)
    )
    charges = tuple(charge for charge in pack.history.charges if charge.finished_at < following)
    return replace(pack, history=replace(pack.history, runs=runs, charges=charges), runs=pack.runs[: last + 1])


def _answer(pack: SimulatedPack, truth: RunTruth, item: AssessedRun) -> Answer:
    slips = pack.slips.get(truth.started_at, ())
    return judge(pack, item.estimate.used_ah, truth.used_ah, pack.rated_ah, at=truth.started_at, slips=slips)


def judge(
    pack: SimulatedPack, found: Quantity, truth: float, over: float, at: datetime | None = None, slips: tuple[str, ...] = ()
) -> Answer:
    """Hold one estimate against the truth."""
    answer = Answer(make=pack.make, pack=pack.history.pack.name, at=at, slips=slips)
    if not isinstance(found, Estimate):
        return answer
    return replace(answer, error=(found.value - truth) / over, sd=found.sd / over, held=found.low <= truth <= found.high)


@dataclass(frozen=True, kw_only=True, slots=True)
class Alarms:
    """Cells driven below their floor, and how they were graded."""

    below: int
    found: int
    above: int
    """Cells that stayed above the floor and kept at least half the reserve: neither word of the grade is true of them."""
    false: int
    near: int
    """Cells that stayed above the floor but kept less than half the reserve: deep by definition, floor or not."""
    near_graded: int

    @property
    def hit_share(self) -> float:
        """Share of the cells truly below that are graded deep or damaging."""
        return self.found / self.below if self.below else float("nan")

    @property
    def false_share(self) -> float:
        """Share of the others that are."""
        return self.false / self.above if self.above else float("nan")


def alarms(packs: Sequence[SimulatedPack], judged: Callable[[int], bool]) -> Alarms:
    """Grades of single cells against the voltage they truly fell to; a cell left ungraded counts as not found."""
    counts = dict.fromkeys(("below", "found", "above", "false", "near", "near_graded"), 0)
    for pack, assessment in zip(packs, assess(packs), strict=True):
        chemistry = family(pack.history.pack.chemistry).chemistry
        for number, (truth, item) in enumerate(zip(pack.runs, assessment.runs, strict=True)):
            if not judged(number):
                continue
            for lowest_v, left, cell in zip(truth.lowest_v, truth.soc_after, item.estimate.cells, strict=True):
                alarmed = cell.grade in ALARMING
                if lowest_v < chemistry["floor_v"]:
                    names = ("below", "found")
                elif left >= chemistry["reserve_soc"] / 2.0:
                    names = ("above", "false")
                else:
                    names = ("near", "near_graded")
                counts[names[0]] += 1
                counts[names[1]] += alarmed
    return Alarms(**counts)


@dataclass(frozen=True, kw_only=True, slots=True)
class Naming:
    """Packs with one odd cell, and packs without: which cell was named."""

    packs: int = 0
    right: int = 0
    wrong: int = 0
    even_packs: int = 0
    named_in_even: int = 0


def weak_cells(packs: Sequence[SimulatedPack], even: Sequence[SimulatedPack]) -> tuple[Naming, Answers]:
    """Whether the weak cell was named, whether one was named where all are alike, and the ratio to its neighbours."""
    right = wrong = 0
    ratios: list[Answer] = []
    known = [learning(one) for one in assess(packs)]
    for pack, learned in zip(packs, known, strict=True):
        if learned is None or pack.weak_cell is None:
            continue
        right += learned.health.weakest_cell == pack.weak_cell
        wrong += learned.health.weakest_cell not in (None, pack.weak_cell)
        neighbours = [value for cell, value in enumerate(pack.capacity_ah, start=1) if cell != pack.weak_cell]
        ratios.append(judge(pack, learned.health.weakest_ratio, pack.capacity_ah[pack.weak_cell - 1] / float(np.mean(neighbours)), 1.0))
    alike = [learned for learned in map(learning, assess(even)) if learned is not None]
    named = sum(learned.health.weakest_cell is not None for learned in alike)
    counted = sum(learned is not None for learned in known)
    naming = Naming(packs=counted, right=right, wrong=wrong, even_packs=len(alike), named_in_even=named)
    return naming, Answers.of_all(ratios)


def restless_cells(packs: Sequence[SimulatedPack], even: Sequence[SimulatedPack]) -> Naming:
    """Whether the restless cell was found, and whether any was where none is."""
    pairs = [(pack, learned) for pack, learned in zip(packs, map(learning, assess(packs)), strict=True) if learned is not None]
    alike = [learned for learned in map(learning, assess(even)) if learned is not None]
    return Naming(
        packs=len(pairs),
        right=sum(learned.health.restless_cells == (pack.restless_cell,) for pack, learned in pairs),
        wrong=sum(bool(set(learned.health.restless_cells) - {pack.restless_cell}) for pack, learned in pairs),
        even_packs=len(alike),
        named_in_even=sum(bool(learned.health.restless_cells) for learned in alike),
    )


def capacities(packs: Sequence[SimulatedPack]) -> Answers:
    """Capacity of each cell now, errors over the truth."""
    return Answers.of_all(
        judge(pack, cell.capacity_ah, truth_ah, truth_ah)
        for pack, learned in zip(packs, map(learning, assess(packs)), strict=True)
        if learned is not None
        for truth_ah, cell in zip(pack.capacity_ah, learned.health.cells, strict=True)
    )


@dataclass(frozen=True, slots=True)
class SetAside:
    """Slips by kind: how many there were and how many were set aside; and sound runs in which something was."""

    slips: dict[str, tuple[int, int]]
    sound_runs: int
    sound_doubted: int


def set_aside(packs: Sequence[SimulatedPack], found: Sequence[PackAssessment]) -> SetAside:
    """Whether the evidence that carries a slip was said to disagree, or left out altogether."""
    slips: dict[str, tuple[int, int]] = {}
    sound = doubted = 0
    for pack, assessment in zip(packs, found, strict=True):
        counted = {truth.started_at for truth in pack.runs if truth.counted}
        for item in assessment.runs:
            start = item.run.started_at
            disagree = {vote.kind for vote in item.estimate.evidence if vote.disagrees}
            if start in counted and not any(vote.kind == "charger" for vote in item.estimate.evidence):
                disagree.add("charger")
            kinds = pack.slips.get(start, ())
            for kind in kinds:
                where = "charger" if kind in ("ten times the count", "swapped count", "a wrong day") else "rest_voltage"
                seen, caught = slips.get(kind, (0, 0))
                slips[kind] = (seen + 1, caught + (where in disagree))
            if not kinds:
                sound += 1
                doubted += bool(disagree)
    return SetAside(slips, sound, doubted)
