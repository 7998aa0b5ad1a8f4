"""Packs: what they are, how they stand and what was found about them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime

from tracker import chemistry
from tracker.domain.health import PackHealth, PackLearning
from tracker.domain.label import CellVoltages, PackLabel
from tracker.domain.pack import Pack
from tracker.domain.progress import Progress
from tracker.domain.results import AssessedRun, Finding, PackRecord, PackState
from tracker.domain.season import SeasonRun
from tracker.estimators import MODEL
from tracker.estimators.history import PackHistory
from tracker.estimators.learned import NO_CAPACITY, learned_from, pack_health, pack_learning
from tracker.estimators.memory import read_if_sound
from tracker.estimators.standing import pack_state
from tracker.services.assessing import assess, histories, refresh
from tracker.services.judging import judge_now, of_concern
from tracker.services.noting import put
from tracker.services.urgency import most_urgent_first
from tracker.store.database import Store
from tracker.store.records import Records

RECENT = 12
"""How a pack stands now follows from its last runs and charges; so many of each are looked at."""


class Packs:
    """Packs, their states, findings and records."""

    def __init__(self, store: Store) -> None:
        self._store = store

    def all(self, include_retired: bool = False) -> tuple[Pack, ...]:
        """Every pack as its owner described it, by name."""
        with self._store.reading() as records:
            return _in_use(records.packs(), include_retired)

    def get(self, name: str) -> Pack:
        """The pack of that name; NotFoundError when there is none."""
        with self._store.reading() as records:
            return records.pack(name)

    def labels(self) -> tuple[PackLabel, ...]:
        """What stands on the label of each pack, of the retired ones too, by name."""
        with self._store.reading() as records:
            packs = records.packs()
        return tuple(PackLabel(pack=pack, cell=_cell_voltages(pack.chemistry)) for pack in packs)

    def save(self, pack: Pack) -> None:
        """Store a pack, or change the one of that name."""
        with self._store.writing() as records:
            put(records, pack)

    def states(
        self, now: datetime | None = None, *, include_retired: bool = False, progress: Progress | None = None
    ) -> tuple[PackState, ...]:
        """Every pack in use as it stands now, by name."""
        refresh(self._store, progress=progress)
        with self._store.reading() as records:
            return _states(self._store, records, _in_use(records.packs(), include_retired), now or datetime.now(UTC))

    def state(self, name: str, now: datetime | None = None) -> PackState:
        """One pack as it stands now; NotFoundError when there is none of that name."""
        refresh(self._store, [name])
        with self._store.reading() as records:
            return state_of(self._store, records, name, now or datetime.now(UTC))

    def overview(self, now: datetime | None = None) -> tuple[tuple[PackState, ...], tuple[Finding, ...]]:
        """Every pack in use as it stands now, by name, and what a person should know about them, most urgent first."""
        states = self.states(now)
        return states, most_urgent_first(finding for state in states for finding in state.findings)

    def findings(self, now: datetime | None = None) -> tuple[Finding, ...]:
        """What a person should know now about the packs in use, most urgent first."""
        return self.overview(now)[1]

    def season(self, since: datetime, pack: str | None = None) -> tuple[SeasonRun, ...]:
        """Every run since then, of all packs or of one, in time order; NotFoundError when there is none of that name."""
        refresh(self._store, None if pack is None else [pack])
        with self._store.reading() as records:
            if pack is not None:
                records.pack(pack)
            found = records.run_grades(MODEL, since, pack)
        return tuple(SeasonRun(pack=name, started_at=started_at, grade=grade) for name, started_at, grade in found)

    def health(self, pack: str | None = None, now: datetime | None = None) -> tuple[PackHealth, ...]:
        """What the history of each pack in use, or of the one named, teaches of it; NotFoundError when there is none of that name."""
        names = None if pack is None else [pack]
        refresh(self._store, names)
        with self._store.reading() as records:
            packs = _in_use(records.packs(), include_retired=False) if pack is None else (records.pack(pack),)
            states = {state.pack: state for state in _states(self._store, records, packs, now or datetime.now(UTC))}
            stored = records.healths(MODEL, [each.name for each in packs])
        unused = {each.name: pack_health(learned_from(each, None), 0) for each in packs if each.name not in stored}
        found = [stored.get(each.name) or unused[each.name] for each in packs]
        return tuple(replace(each, next=states[each.pack].next, findings=states[each.pack].findings) for each in found)

    def learning(self, name: str) -> PackLearning:
        """Everything a pack's history teaches of it, without what to do next; NotFoundError when there is none of that name."""
        refresh(self._store, [name])
        learning, readable = self._learning(name)
        if not readable:
            refresh(self._store, [name], everything=True)
            learning, _ = self._learning(name)
        return learning

    def _learning(self, name: str) -> tuple[PackLearning, bool]:
        with self._store.reading() as records:
            return self._store.kept.read(records, ("learning", name), lambda: _learning(records, name))

    def record(self, name: str, now: datetime | None = None) -> PackRecord:
        """Everything about one pack; NotFoundError when there is none of that name."""
        refresh(self._store, [name])
        with self._store.reading() as records:
            history, assessed, past, health = self._store.kept.read(records, ("record", name), lambda: _recorded(records, name))
        now = now or datetime.now(UTC)
        kind = chemistry.load(history.pack.chemistry)
        return PackRecord(
            state=_state(history, assessed, past, health, now),
            runs=assessed,
            charges=history.charges,
            findings=most_urgent_first([*past, *judge_now(history, assessed, now)]),
            floor_v=kind["floor_v"],
            reserve_soc=kind["reserve_soc"],
        )


def state_of(store: Store, records: Records, name: str, now: datetime) -> PackState:
    """Return how a pack stands by estimates that are up to date; NotFoundError when there is none of that name."""
    [state] = _states(store, records, (records.pack(name),), now)
    return state


def _cell_voltages(key: str) -> CellVoltages:
    kind = chemistry.load(key)
    return CellVoltages(
        full_v=kind["full_v"], storage_low_v=kind["storage_low_v"], storage_high_v=kind["storage_high_v"], floor_v=kind["floor_v"]
    )


def _states(store: Store, records: Records, packs: Sequence[Pack], now: datetime) -> tuple[PackState, ...]:
    names = tuple(pack.name for pack in packs)
    found = store.kept.read(records, ("standings", names), lambda: _standings(records, names))
    # Only the last runs were looked at; the counts are of all.
    return tuple(
        replace(_state(each.history, each.assessed, each.past, each.health, now), runs=each.runs, deep_runs=each.deep_runs)
        for each in found
    )


@dataclass(frozen=True, kw_only=True, slots=True)
class _Standing:
    """What is stored of how a pack stands; only the clock is wanting."""

    history: PackHistory
    """The last of it."""
    assessed: tuple[AssessedRun, ...]
    """The last run, where it is estimated."""
    past: tuple[Finding, ...]
    health: PackHealth | None
    runs: int
    deep_runs: int


def _standings(records: Records, names: Sequence[str]) -> tuple[_Standing, ...]:
    recent = histories(records, names, limit_last=RECENT)
    past = _past_findings(records, recent)
    last = {pack: (started_at, estimate) for (pack, started_at), estimate in records.last_estimates(MODEL).items()}
    healths = records.healths(MODEL, names)
    run_counts, deep_counts = records.run_counts(), records.deep_counts(MODEL)
    found: list[_Standing] = []
    for history in recent:
        name = history.pack.name
        started_at, estimate = last.get(name, (None, None))
        assessed = [
            AssessedRun(run=run, estimate=estimate) for run in history.runs if estimate is not None and run.started_at == started_at
        ]
        found.append(
            _Standing(
                history=history,
                assessed=tuple(assessed),
                past=past[name],
                health=healths.get(name),
                runs=run_counts.get(name, 0),
                deep_runs=deep_counts.get(name, 0),
            )
        )
    return tuple(found)


def _state(
    history: PackHistory, assessed: Sequence[AssessedRun], past: Sequence[Finding], health: PackHealth | None, now: datetime
) -> PackState:
    """Return how a pack stands, decided by everything found about it and shown with what still matters."""
    last = assessed[-1].estimate.findings if assessed else ()
    findings = [*past, *last, *judge_now(history, assessed, now)]
    state = pack_state(history, assessed, tuple(dict.fromkeys(findings)), now, NO_CAPACITY if health is None else health.capacity_ah)
    return replace(state, findings=most_urgent_first(of_concern(history, findings)))


def _learning(records: Records, name: str) -> tuple[PackLearning, bool]:
    """Return what is stored of a pack's learning, and whether what was kept of it can be read."""
    pack = records.pack(name)
    health = records.healths(MODEL, [name]).get(name) or pack_health(learned_from(pack, None), 0)
    stored = records.knowledge([name], MODEL).get(name)
    memory = None if stored is None else read_if_sound(stored.payload)
    learned = learned_from(pack, memory)
    return replace(pack_learning(learned, health.deep_runs), health=health), memory is not None or not health.runs


def _recorded(records: Records, name: str) -> tuple[PackHistory, tuple[AssessedRun, ...], tuple[Finding, ...], PackHealth | None]:
    """Return everything that is stored of one pack."""
    [history] = histories(records, [name])
    estimates = records.estimates([name], MODEL)
    assessed = tuple(
        AssessedRun(run=run, estimate=estimates[name, run.started_at]) for run in history.runs if (name, run.started_at) in estimates
    )
    return history, assessed, _past_findings(records, [history])[name], records.healths(MODEL, [name]).get(name)


def _past_findings(records: Records, past: Sequence[PackHistory]) -> dict[str, tuple[Finding, ...]]:
    """Return what was found about each pack; of packs never run nothing is kept, so it is worked out here."""
    stored = records.findings([history.pack.name for history in past])
    idle = {each.pack: each.findings for each in assess(records, [history for history in past if not history.runs])}
    return {history.pack.name: idle.get(history.pack.name) or stored.get(history.pack.name, ()) for history in past}


def _in_use(packs: Sequence[Pack], include_retired: bool) -> tuple[Pack, ...]:
    return tuple(pack for pack in packs if include_retired or pack.retired_on is None)
