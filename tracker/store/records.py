"""Everything stored, as records of the domain, within one transaction."""

from __future__ import annotations

from tracker.domain.logbook import Logbook
from tracker.store.changes import Changes
from tracker.store.diary import Diary
from tracker.store.inventory import Inventory
from tracker.store.recordings import Recordings
from tracker.store.results import Results


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
