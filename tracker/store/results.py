"""What was worked out: estimates of runs, findings and what was learned of each pack. All of it can be made again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Select, delete, func, select

from tracker.domain.health import PackHealth
from tracker.domain.results import GRADES, Finding, RunEstimate
from tracker.errors import NotFoundError
from tracker.store.estimates import Written, estimate_of, written
from tracker.store.garbage import collector_resting
from tracker.store.health import health_of
from tracker.store.room import Room
from tracker.store.rows import FINDINGS
from tracker.store.tables import Base, FindingRow, PackKnowledgeRow, PackRow, RunEstimateRow, RunRow

DEEP_GRADES = GRADES[:2]
"""Grades that count as a deep run."""

RunKey = tuple[str, datetime]


@dataclass(frozen=True, kw_only=True, slots=True)
class StoredKnowledge:
    """What was learned of a pack, in the learner's own words."""

    model: str
    as_of: datetime
    """History up to here went into it."""
    payload: str
    health: str | None = None
    """How the pack stands by it."""


class Results(Room):
    """Estimates, findings and knowledge."""

    def save_estimates(self, pack: str, estimates: Sequence[tuple[datetime, RunEstimate]]) -> None:
        """Store the estimates of a pack's runs, given by when they started, in place of earlier ones of the same runs."""
        with collector_resting():
            self.save_written(pack, [written(started_at, estimate) for started_at, estimate in estimates])

    def save_written(self, pack: str, estimates: Sequence[Written]) -> None:
        """Store estimates already made ready, as `save_estimates` does."""
        if not estimates:
            return
        times = [each.started_at for each in estimates]
        chosen = (
            select(RunRow.started_at, RunRow.id, RunEstimateRow.run_id)
            .outerjoin(RunEstimateRow, RunEstimateRow.run_id == RunRow.id)
            .where(RunRow.pack_id == self._pack_key(pack).id, RunRow.started_at.between(min(times), max(times)))
        )
        stored = {started_at: (number, old) for started_at, number, old in self.connection.execute(chosen)}
        rows: dict[int, dict[str, Any]] = {}
        replaced: list[int] = []
        for each in estimates:
            if each.started_at not in stored:
                raise NotFoundError(f"no run of '{pack}' at {each.started_at} is stored, so no estimate of it can be.")
            number, old = stored[each.started_at]
            rows[number] = {"run_id": number, "model": each.model, "worst_grade": each.worst_grade, "payload": each.text}
            if old is not None:
                replaced.append(old)
        self._delete_estimates(replaced)
        self._insert(RunEstimateRow, list(rows.values()))

    def estimates(self, packs: Sequence[str] | None = None, model: str | None = None) -> dict[RunKey, RunEstimate]:
        """Estimates of the packs named, or of all, by pack and time; only those one model made, when it is named."""
        found: dict[RunKey, RunEstimate] = {}
        for condition in self._batches(packs):
            found |= self._read_estimates(self._choose_estimates(model).where(condition).order_by(PackRow.name, RunRow.started_at))
        return found

    def estimate(self, pack: str, started_at: datetime, model: str | None = None) -> RunEstimate | None:
        """The estimate of one run, if it is stored."""
        chosen = self._choose_estimates(model).where(PackRow.name == pack, RunRow.started_at == started_at)
        return next(iter(self._read_estimates(chosen).values()), None)

    def last_estimates(self, model: str | None = None) -> dict[RunKey, RunEstimate]:
        """Of each pack, the estimate of its latest run that has one."""
        latest = (
            select(RunRow.id)
            .join(RunEstimateRow, RunEstimateRow.run_id == RunRow.id)
            .where(RunRow.pack_id == PackRow.id)
            .order_by(RunRow.started_at.desc())
            .limit(1)
        )
        if model is not None:
            latest = latest.where(RunEstimateRow.model == model)
        # Looked up pack by pack along the index of (pack, time), so that not every estimate has to be read.
        ids = [
            number for number in self.connection.scalars(select(latest.correlate(PackRow).scalar_subquery()).select_from(PackRow)) if number
        ]
        found: dict[RunKey, RunEstimate] = {}
        for start in range(0, len(ids), 500):
            found |= self._read_estimates(self._choose_estimates(None).where(RunRow.id.in_(ids[start : start + 500])))
        return dict(sorted(found.items()))

    def run_grades(self, model: str, since: datetime, pack: str | None = None) -> list[tuple[str, datetime, str | None]]:
        """Pack, start and worst grade of each run since then, of one pack or of all, in time order."""
        chosen = (
            select(PackRow.name, RunRow.started_at, RunEstimateRow.worst_grade)
            .join(RunRow, RunRow.pack_id == PackRow.id)
            .outerjoin(RunEstimateRow, (RunEstimateRow.run_id == RunRow.id) & (RunEstimateRow.model == model))
            .where(RunRow.started_at >= since)
            .order_by(RunRow.started_at, PackRow.name)
        )
        if pack is not None:
            chosen = chosen.where(PackRow.name == pack)
        return [(name, started_at, grade) for name, started_at, grade in self.connection.execute(chosen)]

    def stale_packs(self, model: str) -> tuple[str, ...]:
        """Packs with a run that this model has not estimated, by name."""
        done = select(RunEstimateRow.run_id).where(RunEstimateRow.model == model)
        waiting = select(RunRow.pack_id).where(RunRow.id.not_in(done))
        return tuple(self.connection.scalars(select(PackRow.name).where(PackRow.id.in_(waiting)).order_by(PackRow.name)))

    def unlearned_packs(self, model: str) -> tuple[str, ...]:
        """Packs with runs of which this model has learned nothing that is stored, by name."""
        learned = select(PackKnowledgeRow.pack_id).where(PackKnowledgeRow.model == model, PackKnowledgeRow.health.is_not(None))
        driven = PackRow.id.in_(select(RunRow.pack_id))
        return tuple(self.connection.scalars(select(PackRow.name).where(driven, PackRow.id.not_in(learned)).order_by(PackRow.name)))

    def mark_stale(self, pack: str, since: datetime | None = None) -> None:
        """Drop a pack's estimates of runs from that time on, or all, and what was learned from that time on."""
        key = self._pack_key(pack)
        runs = select(RunRow.id).where(RunRow.pack_id == key.id)
        learned = delete(PackKnowledgeRow).where(PackKnowledgeRow.pack_id == key.id)
        if since is not None:
            runs = runs.where(RunRow.started_at >= since)
            learned = learned.where(PackKnowledgeRow.as_of >= since)
        self.connection.execute(delete(RunEstimateRow).where(RunEstimateRow.run_id.in_(runs)))
        self.connection.execute(learned)

    def deep_counts(self, model: str | None = None) -> dict[str, int]:
        """Of each pack that has any, how many runs took a cell deep or damaged it."""
        chosen = (
            select(PackRow.name, func.count())
            .select_from(RunEstimateRow)
            .join(RunRow, RunRow.id == RunEstimateRow.run_id)
            .join(PackRow, PackRow.id == RunRow.pack_id)
            .where(RunEstimateRow.worst_grade.in_(DEEP_GRADES))
            .group_by(PackRow.name)
            .order_by(PackRow.name)
        )
        if model is not None:
            chosen = chosen.where(RunEstimateRow.model == model)
        return {name: count for name, count in self.connection.execute(chosen)}  # noqa: C416 - typed rows

    def run_counts(self) -> dict[str, int]:
        """How many runs each pack has, by pack; those without any left out."""
        chosen = select(PackRow.name, func.count()).join(RunRow, RunRow.pack_id == PackRow.id).group_by(PackRow.name).order_by(PackRow.name)
        return {name: count for name, count in self.connection.execute(chosen)}  # noqa: C416 - typed rows

    def counts(self) -> dict[str, int]:
        """How many rows each table holds."""
        tables = Base.metadata.tables
        return {name: self.connection.scalar(select(func.count()).select_from(table)) or 0 for name, table in tables.items()}

    def save_findings(self, pack: str, findings: Sequence[Finding]) -> None:
        """Store what was found about a pack, in that order, in place of what was found before."""
        key = self._pack_key(pack)
        self.connection.execute(delete(FindingRow).where(FindingRow.pack_id == key.id))
        self._insert(FindingRow, [{"pack_id": key.id, **FINDINGS.values(finding)} for finding in findings])

    def findings(self, packs: Sequence[str] | None = None) -> dict[str, tuple[Finding, ...]]:
        """Findings about the packs named, or all, by pack and in the order they were stored; packs without any left out."""
        found: dict[str, list[Finding]] = {}
        for condition in self._batches(packs):
            chosen = select(PackRow.name, *FINDINGS.columns).join(PackRow, PackRow.id == FindingRow.pack_id).where(condition)
            for row in self.connection.execute(chosen.order_by(PackRow.name, FindingRow.id)):
                found.setdefault(row[0], []).append(FINDINGS.record(row[1:]))
        return {name: tuple(about) for name, about in found.items()}

    def save_knowledge(self, pack: str, knowledge: StoredKnowledge) -> None:
        """Store what was learned of a pack in place of what was known before."""
        key = self._pack_key(pack)
        self.connection.execute(delete(PackKnowledgeRow).where(PackKnowledgeRow.pack_id == key.id))
        row = {
            "pack_id": key.id,
            "model": knowledge.model,
            "as_of": knowledge.as_of,
            "payload": knowledge.payload,
            "health": knowledge.health,
        }
        self._insert(PackKnowledgeRow, [row])

    def knowledge(self, packs: Sequence[str] | None = None, model: str | None = None) -> dict[str, StoredKnowledge]:
        """What was learned of the packs named, or of all; only what one model learned, when it is named."""
        found: dict[str, StoredKnowledge] = {}
        for condition in self._batches(packs):
            chosen = (
                select(PackRow.name, PackKnowledgeRow.model, PackKnowledgeRow.as_of, PackKnowledgeRow.payload, PackKnowledgeRow.health)
                .join(PackRow, PackRow.id == PackKnowledgeRow.pack_id)
                .where(condition)
                .order_by(PackRow.name)
            )
            if model is not None:
                chosen = chosen.where(PackKnowledgeRow.model == model)
            for name, by, as_of, payload, health in self.connection.execute(chosen):
                found[name] = StoredKnowledge(model=by, as_of=as_of, payload=payload, health=health)
        return found

    def healths(self, model: str, packs: Sequence[str] | None = None) -> dict[str, PackHealth]:
        """How the packs named, or all, stand by what one model learned of them; packs of which nothing was learned left out."""
        found: dict[str, PackHealth] = {}
        for condition in self._batches(packs):
            chosen = (
                select(PackRow.name, PackKnowledgeRow.health)
                .join(PackRow, PackRow.id == PackKnowledgeRow.pack_id)
                .where(condition, PackKnowledgeRow.model == model, PackKnowledgeRow.health.is_not(None))
            )
            for name, text in self.connection.execute(chosen):
                found[name] = health_of(str(text))
        return found

    def _choose_estimates(self, model: str | None) -> Select[str, datetime, str, str]:
        chosen = (
            select(PackRow.name, RunRow.started_at, RunEstimateRow.payload, RunEstimateRow.model)
            .select_from(RunEstimateRow)
            .join(RunRow, RunRow.id == RunEstimateRow.run_id)
            .join(PackRow, PackRow.id == RunRow.pack_id)
        )
        return chosen if model is None else chosen.where(RunEstimateRow.model == model)

    def _read_estimates(self, chosen: Select[str, datetime, str, str]) -> dict[RunKey, RunEstimate]:
        with collector_resting():
            return {(pack, at): estimate_of(text, model) for pack, at, text, model in self.connection.execute(chosen)}

    def _delete_estimates(self, ids: Sequence[int]) -> None:
        for start in range(0, len(ids), 500):
            self.connection.execute(delete(RunEstimateRow).where(RunEstimateRow.run_id.in_(ids[start : start + 500])))
