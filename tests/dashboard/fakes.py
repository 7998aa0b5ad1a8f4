"""An invented club's packs behind the same methods as the real services, all in memory: for looking at pages by themselves."""

from __future__ import annotations

import math
import random
from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta

from tests.dashboard.fake_data import FakeDatabase, FakeExchange, FakeTraces
from tests.dashboard.fake_plans import HOSTILE as HOSTILE
from tests.dashboard.fake_plans import FakeControllers, FakePlanning, club_controllers
from tests.dashboard.fake_plans import guess as guess
from tracker.domain.changes import Change, Key, Kind, Record
from tracker.domain.health import CellHealth, CurveReading, HealthPoint, Outlook, OwnCurve, PackHealth, PackLearning
from tracker.domain.label import CellVoltages, PackLabel
from tracker.domain.pack import Pack
from tracker.domain.progress import Progress
from tracker.domain.results import (
    GRADES,
    AssessedRun,
    CellDepth,
    Estimate,
    EvidenceVote,
    Finding,
    NotEnough,
    PackRecord,
    PackState,
    Quantity,
    RunEstimate,
)
from tracker.domain.season import SeasonRun
from tracker.domain.session import Charge, Run
from tracker.errors import NotFoundError

NAMES = ("Tug 1", "Groomer left", HOSTILE, "Crawler six", "100% ½ #1?", "..", "never//used/", "Very-long-name-without-any-break-" * 3)
NOW = datetime(2025, 9, 20, 18, 0, tzinfo=UTC)


def grade_of(soc: float, floor_chance: float) -> str:
    """A grade that fits the numbers."""
    if floor_chance >= 0.5:
        return "damaging"
    if floor_chance >= 0.05 or soc < 0.1:
        return "deep"
    return "low" if soc < 0.2 else "fine"


def made_run(pack: Pack, index: int, rng: random.Random, *, told: bool = True) -> AssessedRun:
    """One run of a pack, the second cell always a little weaker."""
    started = NOW - timedelta(days=(index + 1) * 4.5, minutes=rng.randrange(400))
    took = rng.uniform(0.45, 0.82) if index % 7 else 0.93
    why = NotEnough("no voltage and no count was written down")
    cells = []
    for cell in range(1, pack.series + 1):
        soc = max(1 - took * (1.08 if cell == 2 else 1.0), 0.01)
        floor_chance = min(1.0, max(0.0, (0.12 - soc) * 9))
        cells.append(
            CellDepth(
                cell=cell,
                soc_before=guess(0.99, 0.02, 0, 1) if told else why,
                soc_after=guess(soc, 0.04, 0, 1) if told else why,
                lowest_loaded_v=guess(3.0 + soc, 0.06) if told else why,
                below_floor_probability=floor_chance if told else None,
                below_reserve_probability=min(1.0, max(0.0, (0.3 - soc) * 5)) if told else None,
                below_half_reserve_probability=min(1.0, max(0.0, (0.2 - soc) * 5)) if told else None,
                grade=grade_of(soc, floor_chance) if told else None,
            )
        )
    used = took * pack.capacity_ah
    votes = (
        EvidenceVote(kind="charger", used_ah=guess(used * 1.004, 0.06), weight=0.71, disagrees=False, words="Charger put back 2,930 mAh."),
        EvidenceVote(
            kind="rest_voltage", used_ah=guess(used * 0.96, 0.24), weight=0.29, disagrees=False, words="4.19 V before, 3.71 V after 25 min."
        ),
        EvidenceVote(
            kind="meter",
            used_ah=guess(used * 0.4, 0.05),
            weight=0.0,
            disagrees=True,
            words="390 mAh was written down; 3,900 mAh would fit.",
        ),
        EvidenceVote(kind="usual_draw", used_ah=NotEnough("this model has run fewer than three times"), weight=0.0, disagrees=False),
    )
    deep = any(cell.grade in {"deep", "damaging"} for cell in cells)
    finding = Finding(
        rule="run_too_deep",
        severity="stop" if any(cell.grade == "damaging" for cell in cells) else "caution",
        subject=pack.name,
        message="Cell 2 went below 3.00 V under load. Stop earlier, and raise the controller's cutoff before the next run.",
        why="A lithium cell driven below its floor loses capacity for good, and can swell when it is charged again.",
        source="Example and Sample 2019, table 2",
        at=started,
    )
    estimate = RunEstimate(
        model="fake 1",
        used_ah=guess(used, 0.07) if told else why,
        evidence=votes if told else (),
        cells=tuple(cells),
        findings=(finding,) if deep and told else (),
    )
    volts = tuple(round(3.5 + cell.soc_after.value * 0.5, 3) if isinstance(cell.soc_after, Estimate) else 3.7 for cell in cells)
    run = Run(
        pack=pack.name,
        started_at=started,
        run_s=60.0 * rng.randrange(8, 40),
        vehicle=rng.choice(("Harbour tug", "Snow groomer", HOSTILE)),
        before_v=(4.19,) * pack.series if told else (),
        after_v=volts if told else (),
        rest_after_s=1500.0 if told else None,
        loaded_v=(3.21 * pack.series,) if told else (),
        loaded_a=18.0 if told else None,
        used_ah=0.39 if told else None,
        cutoff_v=(5.0, 6.4),
        pack_k=291.15,
        ended_by="driver",
        notes=HOSTILE if index == 0 else "",
    )
    return AssessedRun(run=run, estimate=estimate)


class FakePacks:
    """Packs as the pages ask for them."""

    def __init__(self, packs: Sequence[Pack], records: dict[str, PackRecord], findings: Sequence[Finding]) -> None:
        self._packs, self._records, self._findings = tuple(packs), records, tuple(findings)

    def all(self, include_retired: bool = False) -> tuple[Pack, ...]:
        return tuple(pack for pack in self._packs if include_retired or pack.retired_on is None)

    def labels(self) -> tuple[PackLabel, ...]:
        cell = CellVoltages(full_v=4.2, storage_low_v=3.75, storage_high_v=3.85, floor_v=3.0)
        return tuple(PackLabel(pack=pack, cell=cell) for pack in self._packs)

    def states(self, now: datetime | None = None) -> tuple[PackState, ...]:
        return tuple(self._records[pack.name].state for pack in self.all())

    def overview(self, now: datetime | None = None) -> tuple[tuple[PackState, ...], tuple[Finding, ...]]:
        return self.states(now), self._findings

    def record(self, name: str) -> PackRecord:
        if name not in self._records:
            raise NotFoundError(f"No pack is named {name!r}. See all packs for the names there are.")
        return self._records[name]

    def season(self, since: datetime, pack: str | None = None) -> list[SeasonRun]:
        runs = [
            SeasonRun(
                pack=name,
                started_at=one.run.started_at,
                grade=min((cell.grade for cell in one.estimate.cells if cell.grade), key=GRADES.index, default=None),
            )
            for name, record in self._records.items()
            if pack in {None, name}
            for one in record.runs
        ]
        return sorted((run for run in runs if run.started_at >= since), key=lambda run: run.started_at)

    def learning(self, name: str) -> PackLearning:
        record = self.record(name)
        [pack] = [pack for pack in self._packs if pack.name == name]
        return made_learning(pack, [one.run.started_at for one in record.runs])


class FakeEdits:
    """Looks only: what changes the logbook is tested on a real one."""

    def save(self, record: Record, *, replacing: Key | None = None, change_id: str | None = None) -> Change:
        raise NotFoundError("Nothing is stored here.")

    def remove(self, kind: Kind, key: Key, *, change_id: str | None = None) -> Change:
        raise NotFoundError("Nothing is stored here.")

    def recent(self, limit: int = 20) -> tuple[Change, ...]:
        return (
            Change(id="a" * 32, at=NOW, words=f"Run of '{HOSTILE}', written down", undone=False),
            Change(id="b" * 32, at=NOW - timedelta(days=1), words="Pack 'Tug 1', changed", undone=True),
        )

    def undo(self, change_id: str) -> Change:
        raise NotFoundError("Nothing was changed here.")

    def done(self, change_id: str) -> Change | None:
        return None


class FakeRuns:
    """Looks only, as above."""

    def preview(self, run: Run) -> RunEstimate:
        raise NotFoundError("Nothing is estimated here.")

    def one(self, pack: str, started_at: datetime) -> AssessedRun:
        raise NotFoundError("No run is stored here.")

    def waiting(self) -> int:
        return 0

    def refresh(self, progress: Progress | None = None, *, everything: bool = False) -> None:
        """Do nothing: nothing is ever waiting."""


class FakeCharges:
    """Looks only, as above."""

    def preview(self, charge: Charge) -> tuple[Finding, ...]:
        raise NotFoundError("Nothing is estimated here.")

    def one(self, pack: str, finished_at: datetime) -> Charge:
        raise NotFoundError("No charge is stored here.")


class FakeServices:
    """Everything the pages ask for."""

    def __init__(self, packs: FakePacks, controllers: FakeControllers, planning: FakePlanning) -> None:
        self.packs = packs
        self.controllers = controllers
        self.planning = planning
        self.edits = FakeEdits()
        self.runs = FakeRuns()
        self.exchange = FakeExchange()
        self.database = FakeDatabase()
        self.traces = FakeTraces()
        self.charges = FakeCharges()


def empty_services() -> FakeServices:
    """A database in which nothing is stored yet."""
    controllers = FakeControllers((), (), ())
    return FakeServices(FakePacks((), {}, ()), controllers, FakePlanning((), controllers))


def club_services() -> FakeServices:
    """Packs of several chemistries, some with names made to break pages."""
    packs = [
        Pack(name="Tug 1", chemistry="lipo", series=2, capacity_ah=3.2, acquired_on=date(2024, 3, 2)),
        Pack(name="Groomer left", chemistry="lipo", series=3, capacity_ah=5.0, continuous_c=30, acquired_on=date(2023, 11, 18)),
        Pack(name=HOSTILE, chemistry="lihv", series=2, capacity_ah=2.2),
        Pack(name="Crawler six", chemistry="nimh", series=6, capacity_ah=4.2),
        Pack(name="100% ½ #1?", chemistry="life", series=2, parallel=2, capacity_ah=2.3),
        Pack(name="..", chemistry="lead", series=3, capacity_ah=7.0),
        Pack(name="never//used/", chemistry="lipo", series=4, capacity_ah=1.55),
        Pack(name=NAMES[7], chemistry="liion", series=1, capacity_ah=2.9),
        Pack(name="Old tug", chemistry="nicd", series=6, capacity_ah=1.7, acquired_on=date(2015, 5, 1), retired_on=date(2024, 9, 1)),
    ]
    runs_of = {"Tug 1": 24, "Groomer left": 64, HOSTILE: 5, "Crawler six": 3, "100% ½ #1?": 1, "..": 8, NAMES[7]: 12, "Old tug": 0}
    stands = {
        "Tug 1": ("ready", "Full and rested. Ready to run."),
        "Groomer left": ("rest", "Let it cool down for half an hour, then charge it to storage."),
        HOSTILE: ("charge", "Charge before the next run."),
        "100% ½ #1?": ("store", "Standing full for 6 days: run it, or bring it to storage charge."),
        "..": ("retire", "Holds 61 % of its rating. Take it out of use and to a collecting point."),
    }
    records = {
        pack.name: made_record(pack, runs_of.get(pack.name, 0), *stands.get(pack.name, ("unknown", "Write down its next run or charge.")))
        for pack in packs
    }
    findings = sorted(
        (finding for record in records.values() for finding in record.findings),
        key=lambda one: ("stop", "caution", "note").index(one.severity),
    )
    controllers = club_controllers()
    return FakeServices(FakePacks(packs, records, findings), controllers, FakePlanning(packs, controllers))


def made_record(pack: Pack, count: int, state: str, following: str) -> PackRecord:
    """Everything about one pack."""
    rng = random.Random(pack.name)
    told = pack.chemistry != "nimh"
    runs = tuple(reversed([made_run(pack, index, rng, told=told and not (count > 20 and index % 9 == 4)) for index in range(count)]))
    charges = tuple(
        Charge(
            pack=pack.name,
            finished_at=one.run.started_at + timedelta(hours=26),
            put_back_ah=2.93,
            end_v=(4.2,) * pack.series,
            goal="full",
            notes=HOSTILE if index == 0 else "",
        )
        for index, one in enumerate(runs)
    )
    own = [finding for one in runs for finding in one.estimate.findings]
    if state == "store":
        own.append(
            Finding(
                rule="standing_full",
                severity="note",
                subject=pack.name,
                message="Standing full for 6 days. Run it within a day, or bring it to storage charge.",
                why="Cells kept full lose capacity faster than cells kept half full.",
                source=None,
            )
        )
    return PackRecord(
        state=made_state(pack, runs, state, following), runs=runs, charges=charges, findings=tuple(own), floor_v=3.0, reserve_soc=0.2
    )


def made_state(pack: Pack, runs: Sequence[AssessedRun], state: str, following: str) -> PackState:
    """A pack as it stands."""
    last = runs[-1] if runs else None
    nothing = NotEnough("no charge was counted yet")
    depth: Quantity = nothing
    grade = deepest = None
    if last is not None:
        known = [cell for cell in last.estimate.cells if isinstance(cell.soc_after, Estimate)]
        if known:
            worst = min(known, key=lambda cell: cell.soc_after.value if isinstance(cell.soc_after, Estimate) else 1.0)
            assert isinstance(worst.soc_after, Estimate)
            depth, grade, deepest = guess(1 - worst.soc_after.value, 0.04, 0, 1), worst.grade, worst.cell
    learned = len(runs) >= 5
    return PackState(
        pack=pack.name,
        chemistry=pack.chemistry,
        series=pack.series,
        capacity_ah=pack.capacity_ah,
        state=state,
        next=following,
        soc=guess(0.97, 0.05, 0, 1) if learned else nothing,
        runs=len(runs),
        deep_runs=sum(any(cell.grade in {"deep", "damaging"} for cell in one.estimate.cells) for one in runs),
        last_used_at=last.run.started_at if last else None,
        last_depth=depth,
        last_grade=grade,
        deepest_cell=deepest,
        capacity=guess(pack.capacity_ah * 0.94, 0.08) if learned else nothing,
        health=guess(0.94, 0.02) if learned else nothing,
        findings=tuple(finding for one in runs[-1:] for finding in one.estimate.findings),
    )


UNKNOWN = NotEnough("No charge was counted yet.")
LEARNED_FROM = 5
"""Runs from which on a pack of the club is learned."""


def made_learning(pack: Pack, outings: Sequence[datetime], *, weak: int | None = 2, told: bool = True) -> PackLearning:
    """What a history of so many outings teaches; the weak cell holds a tenth less than the others, the last one is restless."""
    told = told and len(outings) >= LEARNED_FROM and pack.chemistry != "nimh"
    points = tuple(made_point(pack, index, at, weak if told else None, told=told) for index, at in enumerate(outings))
    last = points[-1] if points else made_point(pack, 0, NOW, None, told=False)
    named = weak if told and weak is not None and weak <= pack.series and pack.series > 1 else None
    cells = tuple(
        CellHealth(
            cell=cell,
            capacity_ah=last.capacity_ah[cell - 1],
            resistance_ohm=last.resistance_ohm[cell - 1],
            excess_loss_per_month=guess(0.021 if cell == pack.series else 0.0, 0.006, -1) if told else UNKNOWN,
        )
        for cell in range(1, pack.series + 1)
    )
    known = [cell.capacity_ah for cell in cells if isinstance(cell.capacity_ah, Estimate)]
    least: Quantity = min(known, key=lambda one: one.value) if known else UNKNOWN
    share = guess(least.value / pack.capacity_ah, 0.02) if isinstance(least, Estimate) else UNKNOWN
    cycles = 0.7 * len(outings)
    sentence = "Fading slowly: about 110 runs like those so far are left until it holds 80 % of rated." if told else "Too early to say."
    health = PackHealth(
        pack=pack.name,
        chemistry=pack.chemistry,
        rated_ah=pack.capacity_ah,
        runs=len(outings),
        deep_runs=len(outings) // 7,
        capacity_ah=least,
        health=share,
        cells=cells,
        weakest_cell=named,
        weakest_ratio=guess(0.9, 0.02) if named else NotEnough("No cell stands out."),
        restless_cells=(pack.series,) if told and pack.series > 1 else (),
        outlook=Outlook(
            full_cycles=cycles,
            weighted_cycles=cycles * 0.86,
            fade_per_100_cycles=guess(0.024, 0.006) if told else UNKNOWN,
            runs_left=Estimate(value=110, low=68, high=190, sd=35) if told else UNKNOWN,
            resistance_growth=guess(1.12, 0.05) if told else UNKNOWN,
            sentence=sentence,
        ),
        next="Keep it for gentle running.",
    )
    return PackLearning(health=health, points=points, curve=made_curve(pack, outings, learned=told))


def made_point(pack: Pack, index: int, at: datetime, weak: int | None, *, told: bool = True) -> HealthPoint:
    """What was known after one outing: less capacity and more resistance with each, and surer with each."""
    unsure = 1 / math.sqrt(1 + index)
    held = [pack.capacity_ah * (0.99 - 0.0006 * index - (0.1 if cell == weak else 0.004 * cell)) for cell in range(1, pack.series + 1)]
    ohms = [0.02 / pack.capacity_ah * (1 + 0.002 * index + 0.02 * cell) for cell in range(1, pack.series + 1)]
    return HealthPoint(
        at=at,
        runs=index + 1,
        full_cycles=0.7 * (index + 1),
        capacity_ah=tuple(guess(value, pack.capacity_ah * (0.012 + 0.06 * unsure)) if told else UNKNOWN for value in held),
        resistance_ohm=tuple(guess(value, value * (0.04 + 0.1 * unsure)) if told else UNKNOWN for value in ohms),
    )


def made_curve(pack: Pack, outings: Sequence[datetime], *, learned: bool = True) -> OwnCurve:
    """A curve that lies above its chemistry's in the middle, and readings around it, one in seventeen mistyped."""
    rng = random.Random(pack.series)
    soc = tuple(step / 40 for step in range(41))

    def family_v(share: float) -> float:
        return 3.3 + 0.35 * min(share / 0.1, 1.0) + 0.52 * math.pow(max(share - 0.1, 0.0), 1.3)

    def own_v(share: float) -> float:
        return family_v(share) + (0.03 * math.sin(math.pi * share) if learned else 0.0)

    half = 0.012 if learned else 0.06
    readings = []
    for index, at in enumerate(outings if learned else ()):
        for cell in range(1, pack.series + 1):
            for share in (rng.uniform(0.95, 1.0), rng.uniform(0.15, 0.5)):
                wrong = (index + cell) % 17 == 5
                volts = own_v(share) + rng.gauss(0, 0.006) + (0.12 if wrong else 0.0)
                readings.append(CurveReading(at=at, cell=cell, soc=share, voltage_v=volts, weight=0.03 if wrong else rng.uniform(0.6, 1)))
    return OwnCurve(
        soc=soc,
        family_v=tuple(family_v(share) for share in soc),
        own_v=tuple(own_v(share) for share in soc),
        own_low_v=tuple(own_v(share) - half for share in soc),
        own_high_v=tuple(own_v(share) + half for share in soc),
        readings=tuple(readings),
        learned=learned,
    )
