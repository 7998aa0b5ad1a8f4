"""Bench tests, stored or in a file: the thresholds of each controller, and what they give cause to say."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

from tracker import chemistry
from tracker.chemistry import Chemistry
from tracker.domain.bench import BenchFileResult, BenchResult, Meter
from tracker.domain.pack import Pack
from tracker.domain.session import BenchTest
from tracker.errors import FieldErrors, NotFoundError
from tracker.estimators.bench import HAND_HELD, RAMP_DELAY_S, judge_bench, judge_ramp
from tracker.intake.bench_file import read_bench_file
from tracker.rules import bench_findings
from tracker.rules.evidence import BenchEvidence
from tracker.services.checks import CLOCKS_APART, unknown
from tracker.store.records import Records

Results = dict[str, BenchResult]

LEAST_READINGS, MOST_READINGS = 2, 2000
HIGHEST_V = 100.0
"""Of a bench supply; beyond, a decimal mark was forgotten."""


def stored_results(records: Records, controller: str | None, meter: Meter | None) -> tuple[BenchResult, ...]:
    """Return what the stored tests show of every controller, or of the one named."""
    known = [each.name for each in records.controllers()]
    if controller is not None and controller not in known:
        raise NotFoundError(f"{unknown('controller', controller, known, 'name one of those, or bring it in with a controllers file')}.")
    results = _by_controller(records.bench_tests(), meter)
    if controller is not None and controller not in results:
        raise NotFoundError(f"no bench test of controller '{controller}' is stored; bring one in with a bench file, or name its file.")
    return _judged(records, results, results, controller)


def thresholds(records: Records, controllers: Collection[str]) -> Results:
    """Return what the stored tests show of these controllers, without findings; those that were never tested are not in it."""
    return _by_controller((test for name in controllers for test in records.bench_tests(name)), None)


def file_results(records: Records, path: Path, controller: str | None, meter: Meter | None, delay_s: float | None) -> BenchFileResult:
    """Return what a file shows of every controller in it, or of the one named, and what is odd about the file; nothing is stored."""
    held = read_bench_file(path, controller)
    results = _by_controller(held.tests, meter)
    for ramp in held.ramps:
        results[ramp.controller] = judge_ramp(ramp, meter or HAND_HELD, RAMP_DELAY_S if delay_s is None else delay_s)
    if controller is not None and controller not in results:
        raise NotFoundError(f"{unknown('controller', controller, sorted(results), f'name one that {path} holds')}.")
    known = {**_by_controller(records.bench_tests(), meter), **results}
    return BenchFileResult(results=_judged(records, results, known, controller), warnings=held.warnings)


def result_of_one(records: Records, test: BenchTest) -> BenchResult:
    """Return what one test shows by itself, judged beside what is stored of its controller and of those it shares packs with."""
    results = _by_controller([test], None)
    [result] = _judged(records, results, {**_by_controller(records.bench_tests(), None), **results}, None)
    return result


def checked(test: BenchTest) -> None:
    """Raise FieldErrors where something recorded by hand cannot be a bench test."""
    problems: dict[str, str] = {}
    count = len(test.readings)
    if not LEAST_READINGS <= count <= MOST_READINGS:
        problems["readings"] = (
            f"{count} are given; allowed are {LEAST_READINGS} to {MOST_READINGS}, each a supply voltage with running or stopped."
        )
    for place, reading in enumerate(test.readings, start=1):
        if not 0.0 < reading.supply_v <= HIGHEST_V:
            problems["supply_v"] = (
                f"{reading.supply_v:g} V at reading {place} is not possible; allowed is more than 0 up to {HIGHEST_V:g} V."
            )
            break
    if test.tested_at.tzinfo is None:
        problems["tested_at"] = "the time has no zone; give one with its offset, such as 2025-06-14T10:00:00+02:00."
    elif test.tested_at > datetime.now(UTC) + CLOCKS_APART:
        problems["tested_at"] = f"'{test.tested_at.astimezone():%Y-%m-%d %H:%M}' is still to come; allowed are times up to now."
    if problems:
        raise FieldErrors(problems)


def _by_controller(tests: Iterable[BenchTest], meter: Meter | None) -> Results:
    of: dict[str, list[BenchTest]] = {}
    for test in tests:
        of.setdefault(test.controller, []).append(test)
    return {name: judge_bench(of[name], meter or HAND_HELD) for name in sorted(of)}


def _judged(records: Records, results: Results, known: Mapping[str, BenchResult], only: str | None) -> tuple[BenchResult, ...]:
    """Return results with their findings; `known` are all that may stand beside one in a model."""
    controllers = {each.name: each for each in records.controllers()}
    vehicles = records.vehicles()
    judged = []
    for name, result in results.items():
        if only is not None and name != only:
            continue
        carrying = [vehicle for vehicle in vehicles if name in vehicle.controllers]
        beside = {each for vehicle in carrying for each in vehicle.controllers if each != name and each in known}
        evidence = BenchEvidence(
            result=result,
            controller=controllers.get(name),
            packs=_packs_on(records, [vehicle.name for vehicle in carrying]),
            beside=tuple(known[each] for each in sorted(beside)),
        )
        judged.append(replace(result, findings=bench_findings(evidence)))
    return tuple(judged)


def _packs_on(records: Records, vehicles: Sequence[str]) -> tuple[tuple[Pack, Chemistry], ...]:
    """Return the packs in use that were driven in these vehicles."""
    driven = set(records.packs_driven(vehicles)) if vehicles else set()
    in_use = (pack for pack in records.packs() if pack.name in driven and pack.retired_on is None)
    return tuple((pack, chemistry.load(pack.chemistry)) for pack in in_use)
