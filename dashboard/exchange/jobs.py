"""Long work in a thread of its own: it tells how far it is, can be left and found again, and is done one after the other."""

from __future__ import annotations

import logging
import secrets
import threading
from collections.abc import Callable
from typing import Any, Literal

from dashboard.addresses import data_address
from tracker.domain.progress import Progress
from tracker.errors import TrackerError

LOG = logging.getLogger("dashboard")
MOST_KEPT = 40
"""So many jobs are remembered; the oldest finished ones are forgotten first."""
WENT_WRONG = "Something went wrong and nothing was changed. Reference {reference}."

State = Literal["waiting", "running", "done", "failed"]
Work = Callable[[Progress], Any]


class Job:
    """One piece of work: how far it is, and what came of it."""

    def __init__(self, title: str, address: str, work: Work) -> None:
        self.id = secrets.token_urlsafe(24)
        self.title = title
        self.address = address or data_address(job=self.id)
        self.state: State = "waiting"
        self.label, self.done, self.total = "", 0, None
        self.result: Any = None
        self.error: TrackerError | None = None
        self.words = ""
        """Of the error, fit to be shown."""
        self._work = work
        self._ended = threading.Event()

    label: str
    done: int
    total: int | None

    @property
    def ended(self) -> bool:
        """Whether there is nothing more to wait for."""
        return self._ended.is_set()

    def wait(self, timeout_s: float) -> bool:
        """Wait a little for the end; whether it came."""
        return self._ended.wait(timeout_s)

    def run(self, turn: threading.Lock) -> None:
        """Do the work when it is its turn."""
        try:
            with turn:
                self.state = "running"
                self.result = self._work(self._tell)
            self.state = "done"
        except TrackerError as error:
            self.error, self.words, self.state = error, str(error), "failed"
        except Exception as error:
            reference = secrets.token_hex(3)
            LOG.error("reference %s", reference, exc_info=error)
            self.words, self.state = WENT_WRONG.format(reference=reference), "failed"
        finally:
            self._ended.set()

    def document(self) -> dict[str, Any]:
        """How far it is, for the page that watches it."""
        return {"state": self.state, "label": self.label, "done": self.done, "total": self.total}

    def _tell(self, label: str, done: int, total: int | None) -> None:
        self.label, self.done, self.total = label, done, total


class Jobs:
    """All jobs of this server."""

    def __init__(self) -> None:
        self._jobs: dict[str, Job] = {}
        self._lock = threading.Lock()
        # The database has one writer at a time: a second long job would wait for the first until it gave up.
        self._turn = threading.Lock()

    def start(self, title: str, work: Work, *, address: str = "") -> Job:
        """Begin a job; it dies with the server, and its transaction with it."""
        job = Job(title, address, work)
        with self._lock:
            ended = [key for key, one in self._jobs.items() if one.ended]
            for key in ended[: max(0, len(self._jobs) + 1 - MOST_KEPT)]:
                del self._jobs[key]
            self._jobs[job.id] = job
        threading.Thread(target=job.run, args=(self._turn,), daemon=True, name=title).start()
        return job

    def get(self, job_id: str) -> Job | None:
        """The job of that number, if it is still known."""
        return self._jobs.get(job_id)

    def under_way(self) -> tuple[Job, ...]:
        """Those that have not ended."""
        with self._lock:
            return tuple(job for job in self._jobs.values() if not job.ended)
