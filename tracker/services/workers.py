"""Estimating very many packs on all processors: jobs go to processes of their own, answers come back in order."""

from __future__ import annotations

import os
import signal
from collections import deque
from collections.abc import Iterable, Iterator
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from multiprocessing import get_context

from tracker.services.estimating import Job, Saved, estimate, ready_to_save
from tracker.store.garbage import collector_resting

MOST_WORKERS = 4
"""Beyond this the one process that reads and saves cannot keep up."""


def worker_count() -> int:
    """Return how many processes are worth starting."""
    return min(os.cpu_count() or 1, MOST_WORKERS)


def estimate_all(jobs: Iterable[Job]) -> Iterator[tuple[Job, list[Saved] | None]]:
    """Yield each job with its answer, None once processes cannot be had; jobs are only made as fast as they are worked off."""
    # Forking a process that has threads, as one that serves pages has, can hang it; starting afresh cannot.
    pool = ProcessPoolExecutor(worker_count(), mp_context=get_context("spawn"), initializer=_ignore_interrupts)
    waiting: deque[tuple[Job, Future[list[Saved]] | None]] = deque()
    try:
        for job in jobs:
            waiting.append((job, _submit(pool, job)))
            if len(waiting) > worker_count() + 1:
                yield _answer(*waiting.popleft())
        while waiting:
            yield _answer(*waiting.popleft())
    finally:
        pool.shutdown(wait=False, cancel_futures=True)


def _submit(pool: ProcessPoolExecutor, job: Job) -> Future[list[Saved]] | None:
    try:
        return pool.submit(_estimate, job)
    except (BrokenProcessPool, OSError):  # the answer None says so
        return None


def _answer(job: Job, future: Future[list[Saved]] | None) -> tuple[Job, list[Saved] | None]:
    try:
        return job, None if future is None else future.result()
    except BrokenProcessPool:  # the answer None says so
        return job, None


def _estimate(job: Job) -> list[Saved]:
    with collector_resting():
        return [ready_to_save(judged) for judged in estimate(job)]


def _ignore_interrupts() -> None:
    """Leave Ctrl-C to the process that gave the jobs."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
