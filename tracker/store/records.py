"""Everything stored, as records of the domain, within one transaction."""

from __future__ import annotations

from tracker.domain.exchange import Contents
from tracker.domain.logbook import Logbook
from tracker.store.changes import Changes
from tracker.store.contents import contents, size_bytes
from tracker.store.diary import Diary
from tracker.store.inventory import Inventory
from tracker.store.recordings import Recordings
from tracker.store.results import Results
from tracker.store.schema import version_of


class Records(Inventory, Diary, Recordings, Results, Changes):
    """What one transaction sees and, when it is for writing, may change."""

    def logbook(self) -> Logbook:
        """All that people wrote down."""
        return Logbook(
            packs=self.packs(),
            vehicles=self.vehicles(),
            controllers=self.controllers(),
            runs=tuple(self.runs()),
            charges=tuple(self.charges()),
            bench_tests=self.bench_tests(),
        )

    def contents(self) -> Contents:
        """How much there is of everything that people wrote down."""
        return contents(self.connection)

    def size_bytes(self) -> int | None:
        """How much room the database takes, where it tells."""
        return size_bytes(self.connection)

    def schema_version(self) -> str:
        """Number of the migration the database stands at."""
        return version_of(self.connection) or "none"
