"""What is kept of a pack's learning between one look and the next, so that a new run costs one outing and not the history."""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tracker.domain.pack import Pack
from tracker.estimators.draws import DrawnCurrent
from tracker.estimators.outings import Outing
from tracker.estimators.pack_history import BLOCK, Course, fresh_from, layout_of
from tracker.estimators.readings import Draws, Setting

FloatArray = NDArray[np.float64]

Numbers = tuple[float, ...]
CURVE_OUTINGS = 60
"""Readings of the latest outings are shown beside the pack's own curve."""


@dataclass(frozen=True, slots=True)
class Mark:
    """Capacity and resistance of each cell after an outing, as known with hindsight.

    Attributes
    ----------
    at : float
        Start of its last run, seconds since 1970 UTC [s]
    runs, full_cycles : float
        So far [1]
    log_capacity, log_capacity_sd, log_ohm, log_ohm_sd : Numbers
        One a cell [1]
    """

    at: float
    runs: float
    full_cycles: float
    log_capacity: Numbers
    log_capacity_sd: Numbers
    log_ohm: Numbers
    log_ohm_sd: Numbers


@dataclass(frozen=True, slots=True)
class Dot:
    """A rested voltage brought to 25 °C and full rest, and the state of charge everything else says the cell had.

    Attributes
    ----------
    at : float
        Start of its run, seconds since 1970 UTC [s]
    cell : int
        From 1; 0 for the mean of all cells [1]
    soc, voltage_v, weight : float
        [1], [V], [1]
    """

    at: float
    cell: int
    soc: float
    voltage_v: float
    weight: float


@dataclass(frozen=True, slots=True)
class Memory:
    """What is kept of a pack between looks.

    Attributes
    ----------
    digests : tuple[str, ...]
        One an outing, each of everything written down up to it
    rows : dict[int, FloatArray]
        Rows about some outings: the last of each block, and those of the last two blocks [1]
    drawn : list[list[DrawnCurrent]]
        What each outing taught of its vehicles
    marks : list[Mark]
        One an outing
    dots : list[list[Dot]]
        Readings of each of the latest outings
    dots_first : int
        The outing they start with
    """

    digests: tuple[str, ...]
    rows: dict[int, FloatArray]
    drawn: list[list[DrawnCurrent]]
    marks: list[Mark]
    dots: list[list[Dot]]
    dots_first: int


def digests_of(pack: Pack, outings: Sequence[Outing], typed: Draws, trips: Mapping[str, tuple[Setting, ...]]) -> tuple[str, ...]:
    """Digest of everything an outing's answer depends on, up to each outing.

    Parameters
    ----------
    pack : Pack
        The pack [1]
    outings : Sequence[Outing]
        In time order [1]
    typed : Draws
        Usual currents as owners typed them [A]
    trips : Mapping[str, tuple[Setting, ...]]
        Cutoffs of the controllers of each vehicle [V]

    Returns
    -------
    tuple[str, ...]
        One an outing [1]

    References
    ----------
    .. [1] No source: bookkeeping.
    """
    so_far = hashlib.blake2b(repr((pack.name, pack.chemistry, pack.series, pack.parallel, pack.capacity_ah)).encode(), digest_size=9)
    found: list[str] = []
    for outing in outings:
        vehicles = {run.vehicle for run in outing.runs}
        around = [(name, typed.get((None, name)), trips.get(name or "")) for name in sorted(vehicles, key=str)]
        so_far.update(repr((outing.runs, outing.before, outing.after, outing.joined, around)).encode())
        found.append(so_far.hexdigest())
    return tuple(found)


def resumed(pack: Pack, outings: list[Outing], digests: Sequence[str], memory: Memory | None) -> Course:
    """A pack's course, taken up where what was written down began to differ.

    Parameters
    ----------
    pack : Pack
        The pack [1]
    outings : list[Outing]
        All of its outings, in time order [1]
    digests : Sequence[str]
        Of the outings [1]
    memory : Memory or None
        What was kept from the last look [1]

    Returns
    -------
    Course
        With what rows there are, ready to be learned on [1]

    References
    ----------
    .. [1] No source: bookkeeping.
    """
    size = layout_of(pack).size
    anew = Course(pack, outings, np.zeros((0, size)))
    # Of a history grown shorter, readings come into sight beside the curve again that were no longer kept.
    if memory is None or max(0, len(outings) - CURVE_OUTINGS) < memory.dots_first:
        return anew
    same = 0
    while same < min(len(digests), len(memory.digests)) and digests[same] == memory.digests[same]:
        same += 1
    first = fresh_from(same)
    kept = 0
    while first + kept < same and first + kept in memory.rows:
        kept += 1
    start = first + kept
    if start == 0:
        return anew
    if kept == 0:
        if first - 1 not in memory.rows:
            return anew
        rows, at = memory.rows[first - 1][None, :], first - 1
    else:
        rows, at = np.stack([memory.rows[place] for place in range(first, start)]), first
    if rows.shape[1] != size:
        return anew
    return Course(pack, outings, rows, first=at, start=start, changed=same, drawn=[list(each) for each in memory.drawn[:start]])


def kept_rows(course: Course, memory: Memory | None) -> dict[int, FloatArray]:
    """Rows worth keeping of a learned course: the last of each block, and all of the last two blocks.

    Parameters
    ----------
    course : Course
        Learned [1]
    memory : Memory or None
        From before, for blocks that were not looked at [1]

    Returns
    -------
    dict[int, FloatArray]
        By outing [1]

    References
    ----------
    .. [1] No source: bookkeeping.
    """
    last = len(course.outings)
    latest = fresh_from(last)
    rows = {} if memory is None else {place: row for place, row in memory.rows.items() if place < course.first and (place + 1) % BLOCK == 0}
    for place in range(course.first, last):
        if place >= latest or (place + 1) % BLOCK == 0:
            rows[place] = course.row(place)
    return rows


def merged(course: Course, digests: tuple[str, ...], before: Memory | None, marks: list[Mark], dots: list[list[Dot]]) -> Memory:
    """Memory after a look: what was looked at anew, and before that what was kept.

    Parameters
    ----------
    course : Course
        Learned [1]
    digests : tuple[str, ...]
        Of its outings [1]
    before : Memory or None
        What was kept before [1]
    marks, dots : list
        Of the outings from `Course.fresh` on [1]

    Returns
    -------
    Memory
        To be kept [1]

    References
    ----------
    .. [1] No source: bookkeeping.
    """
    fresh, last = course.fresh, len(course.outings)
    earlier = [] if before is None else before.marks[:fresh]
    dots_first = max(0, last - CURVE_OUTINGS)
    kept_dots: list[list[Dot]] = []
    if before is not None and dots_first < fresh:
        kept_dots = before.dots[max(0, dots_first - before.dots_first) : max(0, fresh - before.dots_first)]
    return Memory(
        digests=digests,
        rows=kept_rows(course, before),
        drawn=course.drawn,
        marks=[*earlier, *marks],
        dots=[*kept_dots, *dots[max(0, dots_first - fresh) :]],
        dots_first=dots_first,
    )


def written(memory: Memory) -> str:
    """Memory as text.

    Parameters
    ----------
    memory : Memory
        To be stored [1]

    Returns
    -------
    str
        JSON [1]

    References
    ----------
    .. [1] RFC 4648, base64 for the rows.
    """
    return json.dumps(
        {
            "digests": memory.digests,
            "rows": {str(place): base64.b64encode(row.astype("<f8").tobytes()).decode("ascii") for place, row in memory.rows.items()},
            "drawn": memory.drawn,
            "marks": [(m.at, m.runs, m.full_cycles, m.log_capacity, m.log_capacity_sd, m.log_ohm, m.log_ohm_sd) for m in memory.marks],
            "dots": [[(dot.at, dot.cell, dot.soc, dot.voltage_v, dot.weight) for dot in each] for each in memory.dots],
            "dots_first": memory.dots_first,
        },
        separators=(",", ":"),
    )


def read(text: str) -> Memory:
    """Memory from text that `written` made.

    Parameters
    ----------
    text : str
        JSON [1]

    Returns
    -------
    Memory
        As it was stored [1]

    References
    ----------
    .. [1] RFC 4648, base64 for the rows.
    """
    found = json.loads(text)
    return Memory(
        digests=tuple(found["digests"]),
        rows={int(place): np.frombuffer(base64.b64decode(row), dtype="<f8").copy() for place, row in found["rows"].items()},
        drawn=[[(vehicle, current_a, counted) for vehicle, current_a, counted in each] for each in found["drawn"]],
        marks=[Mark(at, runs, full, tuple(a), tuple(b), tuple(c), tuple(d)) for at, runs, full, a, b, c, d in found["marks"]],
        dots=[[Dot(*dot) for dot in each] for each in found["dots"]],
        dots_first=found["dots_first"],
    )


def read_if_sound(text: str) -> Memory | None:
    """Memory from text, or nothing where it cannot be used: it is a cache, and what it held can be learned anew.

    Parameters
    ----------
    text : str
        As it was stored [1]

    Returns
    -------
    Memory or None
        None when the text is damaged or the row of the last outing is missing [1]

    References
    ----------
    .. [1] No source: bookkeeping.
    """
    try:
        memory = read(text)
    except (ValueError, TypeError, KeyError, AttributeError):
        return None
    sizes = {len(row) for row in memory.rows.values()}
    return memory if len(sizes) <= 1 and (not memory.digests or len(memory.digests) - 1 in memory.rows) else None
