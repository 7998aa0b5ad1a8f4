"""What the pages ask of the services: anything with these methods can stand behind the dashboard."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Protocol

from tracker.domain.health import PackLearning
from tracker.domain.pack import Pack
from tracker.domain.results import Finding, PackRecord, PackState


class PackService(Protocol):
    """Packs, how they stand and what was found about them."""

    def all(self, include_retired: bool = False) -> Sequence[Pack]:
        """Every pack as its owner described it."""

    def states(self, now: datetime | None = None) -> Sequence[PackState]:
        """Every pack in use as it stands now."""

    def overview(self, now: datetime | None = None) -> tuple[Sequence[PackState], Sequence[Finding]]:
        """Every pack in use as it stands now, and what a person should know, most urgent first."""

    def record(self, name: str) -> PackRecord:
        """Everything about one pack; NotFoundError when there is none of that name."""

    def learning(self, name: str) -> PackLearning:
        """What the pack's history teaches, as known now; NotFoundError when there is none of that name."""


class Services(Protocol):
    """The way from the pages to everything else."""

    @property
    def packs(self) -> PackService:
        """Packs, their states and findings."""
