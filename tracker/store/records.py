"""Everything stored, as records of the domain, within one transaction."""

from __future__ import annotations

from tracker.domain.logbook import Logbook
from tracker.store.diary import Diary
from tracker.store.inventory import Inventory
from tracker.store.results import Results


class Records(Inventory, Diary, Results):
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

    def put_logbook(self, logbook: Logbook) -> None:
        """Store the packs, controllers and vehicles of a logbook, changing those of the same name, and add the rest as new."""
        for pack in logbook.packs:
            self.put_pack(pack)
        for controller in logbook.controllers:
            self.put_controller(controller)
        for vehicle in logbook.vehicles:
            self.put_vehicle(vehicle)
        self.add_runs(logbook.runs)
        self.add_charges(logbook.charges)
        self.add_bench_tests(logbook.bench_tests)
