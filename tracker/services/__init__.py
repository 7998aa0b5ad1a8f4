"""What can be done with a logbook, behind the command line and the dashboard alike.

Each call loads what it needs, asks an estimator or a rule, saves and answers in records of the domain.
"""

from __future__ import annotations

from types import TracebackType
from typing import Self

from tracker.services.charges import Charges
from tracker.services.controllers import Controllers
from tracker.services.database import Database
from tracker.services.edits import Edits
from tracker.services.exchange import Exchange
from tracker.services.packs import Packs
from tracker.services.planning import Planning
from tracker.services.runs import Runs
from tracker.services.traces import Traces
from tracker.store.database import Store, open_store


class Services:
    """Everything that can be done with one database; close it when done, or use it in a `with`."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self.packs = Packs(store)
        self.runs = Runs(store)
        self.charges = Charges(store)
        self.controllers = Controllers(store)
        self.edits = Edits(store)
        self.planning = Planning(store)
        self.traces = Traces(store)
        self.exchange = Exchange(store)
        self.database = Database(store)

    def close(self) -> None:
        """Close the database."""
        self._store.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        self.close()


def open_services(url: str | None = None) -> Services:
    """Open the database at that URL, or the file in the user's data folder, made when it is not there."""
    return Services(open_store(url))
