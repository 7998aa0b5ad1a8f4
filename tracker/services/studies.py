"""The last few studies of cutoffs, kept so that a plan for another wanted risk, load or temperature takes less."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable, Iterator
from dataclasses import fields, is_dataclass, replace
from threading import Lock
from typing import Any, Generic, TypeVar

import numpy as np

from tracker.domain.planning import CutoffTask, PresentState
from tracker.estimators.cutoff import CutoffStudy, gently_swept, study_cutoffs, study_together
from tracker.estimators.cutoff_scenes import Setup, gentle_load, scenes_of, versions_of
from tracker.estimators.drawn_packs import Versions
from tracker.physics.cutoff_sweep import CutoffSweep

MOST = 12
"""So many are kept: a study is a few kilobytes, and a person compares a handful."""
MOST_VERSIONS = 3
"""Of the packs' versions fewer: they take some 20 MB a pack."""
ANY_RISK = 0.01

Kind = TypeVar("Kind")


class Studies:
    """Studies by all that goes into them: when anything stored changes that matters, the key is another one."""

    def __init__(self) -> None:
        self._versions: _Kept[Versions] = _Kept()
        self._gently: _Kept[CutoffSweep] = _Kept()
        self._studies: _Kept[CutoffStudy] = _Kept()
        self._together: _Kept[PresentState | None] = _Kept()

    def of(self, task: CutoffTask, setup: Setup) -> CutoffStudy:
        """Return the study of this task and setup, made when it is not among those kept."""
        return self._studies.of(_key(task, setup), lambda: self._studied(task, setup), MOST)

    def knows_together(self, task: CutoffTask, setup: Setup) -> bool:
        """Whether `together` need not be made."""
        return not setup.controllers or _key(task, setup) in self._together

    def together(self, task: CutoffTask, setup: Setup) -> PresentState | None:
        """Return what the controllers do together, made when it is not among those kept."""

        def made() -> PresentState | None:
            return study_together(setup, scenes_of(task, setup, self._drawn(setup)), self.of(task, setup))

        return self._together.of(_key(task, setup), made, MOST)

    def _studied(self, task: CutoffTask, setup: Setup) -> CutoffStudy:
        scenes = scenes_of(task, setup, self._drawn(setup))
        key = (*_versions_key(setup), gentle_load(setup), setup.controllers, setup.trips)
        return study_cutoffs(setup, scenes, self._gently.of(key, lambda: gently_swept(setup, scenes[1]), MOST_VERSIONS))

    def _drawn(self, setup: Setup) -> Versions:
        """The versions of the pack, which neither the temperature nor the load changes."""
        return self._versions.of(_versions_key(setup), lambda: versions_of(setup), MOST_VERSIONS)


class _Kept(Generic[Kind]):
    """The last few of what was made, by what went into it."""

    def __init__(self) -> None:
        self._kept: OrderedDict[Hashable, Kind] = OrderedDict()
        self._lock = Lock()

    def __contains__(self, key: Hashable) -> bool:
        with self._lock:
            return key in self._kept

    def of(self, key: Hashable, make: Callable[[], Kind], most: int) -> Kind:
        with self._lock:
            if key in self._kept:
                self._kept.move_to_end(key)
                return self._kept[key]
        # Not under the lock: a second person asking for something else need not wait.
        made = make()
        with self._lock:
            self._kept[key] = made
            while len(self._kept) > most:
                self._kept.popitem(last=False)
        return made


def _versions_key(setup: Setup) -> tuple[Hashable, ...]:
    return (setup.pack, setup.learned, setup.vehicle.lead_ohm, *_numbers(setup.states))


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
