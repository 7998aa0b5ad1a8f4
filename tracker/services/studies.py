"""The last few studies of cutoffs, kept so that a plan for another wanted risk needs no second simulation."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Hashable, Iterator
from dataclasses import fields, is_dataclass, replace
from threading import Lock
from typing import Any

import numpy as np

from tracker.domain.planning import CutoffTask
from tracker.estimators.cutoff import CutoffStudy, Setup, study_cutoffs

MOST = 12
"""So many are kept: a study is a few kilobytes, and a person compares a handful."""
ANY_RISK = 0.01


class Studies:
    """Studies by all that goes into them: when anything stored changes that matters, the key is another one."""

    def __init__(self) -> None:
        self._kept: OrderedDict[Hashable, CutoffStudy] = OrderedDict()
        self._lock = Lock()

    def of(self, task: CutoffTask, setup: Setup) -> CutoffStudy:
        """Return the study of this task and setup, made when it is not among those kept."""
        key = _key(task, setup)
        with self._lock:
            if key in self._kept:
                self._kept.move_to_end(key)
                return self._kept[key]
        # Not under the lock: a second person asking for something else need not wait.
        study = study_cutoffs(task, setup)
        with self._lock:
            self._kept[key] = study
            while len(self._kept) > MOST:
                self._kept.popitem(last=False)
        return study


def _key(task: CutoffTask, setup: Setup) -> Hashable:
    asked = replace(task, risk=ANY_RISK)
    known = (setup.learned, setup.load, setup.starts_soc, tuple(_numbers(setup.states)))
    return (asked, setup.pack, setup.vehicle, setup.controllers, setup.trips, *known)


def _numbers(value: Any) -> Iterator[Hashable]:
    """Everything in a record that holds arrays, in a form that can be compared."""
    if isinstance(value, np.ndarray):
        yield value.shape
        yield value.tobytes()
    elif is_dataclass(value):
        for part in fields(value):
            yield from _numbers(getattr(value, part.name))
    else:
        yield value
