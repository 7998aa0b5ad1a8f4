"""Limits: finding, changing and removing records, and what is said when that cannot be done."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from tests.tracker.store import builders as b
from tracker.domain.controller import Vehicle
from tracker.domain.session import BenchTest
from tracker.errors import ConflictError, InputError, NotFoundError
from tracker.store.database import Store
from tracker.store.records import Records
from tracker.store.results import StoredKnowledge


def starts(records: Records, pack: str) -> list[int]:
    """After how many hours the runs of a pack started."""
    return [round((found.started_at - b.START).total_seconds() / 3600) for found in records.runs([pack])]


def test_a_changed_record_takes_the_old_ones_place(store: Store) -> None:
    with store.writing() as records:
        b.put_logbook(records, b.FULL_LOGBOOK)
        records.save_estimates("Tug 1", [(b.START, b.estimate())])
    pack = replace(b.FULL_PACK, chemistry="life", notes="")
    vehicle = replace(b.FULL_VEHICLE, controllers=("port",), usual_a=None)
    controller = replace(b.FULL_CONTROLLER, cutoff_v=6.5)
    run = replace(b.FULL_RUN, after_v=(), vehicle=None)
    charge = replace(b.FULL_CHARGE, put_back_ah=2.3)
    bench = BenchTest(controller="port", tested_at=b.FULL_BENCH.tested_at, readings=b.FULL_BENCH.readings[:1])
    with store.writing() as records:
        records.put_pack(pack)
        records.put_vehicle(vehicle)
        records.put_controller(controller)
        records.replace_run(run)
        records.replace_charge(charge)
        records.replace_bench_test(bench)
    with store.reading() as records:
        found = records.logbook()
        assert (found.packs, found.vehicles, found.runs) == ((pack,), (vehicle,), (run,))
        assert (found.controllers[0], found.charges, found.bench_tests) == (controller, (charge,), (bench,))
        assert records.estimates() == {}, "a changed run's estimate is of a run that no longer is"


def test_what_is_removed_is_gone(store: Store) -> None:
    with store.writing() as records:
        b.put_logbook(records, b.FULL_LOGBOOK)
        records.remove_run("Tug 1", b.START)
        records.remove_charge("Tug 1", b.at(3))
        records.remove_bench_test("port", b.at(-100))
        records.remove_vehicle("Groomer")
        records.remove_controller("port")
        records.remove_controller("starboard")
        records.remove_pack("Tug 1")
        assert set(records.counts().values()) == {0}


def test_a_pack_goes_with_its_history_only_when_asked(store: Store) -> None:
    with store.writing() as records:
        b.fill(records, ("A", "B"), runs=3)
        records.add_charges([b.charge("A")])
        with pytest.raises(ConflictError, match="pack 'A' has 3 runs and 1 charges written down; give it the day it was retired"):
            records.remove_pack("A")
        assert len(records.runs(["A"])) == 3
        records.remove_pack("A", with_history=True)
        assert records.run_counts() == {"B": 3}


def test_what_others_name_stays(store: Store) -> None:
    with store.writing() as records:
        b.put_logbook(records, b.FULL_LOGBOOK)
        with pytest.raises(ConflictError, match="vehicle 'Groomer' has 1 runs"):
            records.remove_vehicle("Groomer")
        with pytest.raises(ConflictError, match="controller 'port' is carried by vehicle 'Groomer'"):
            records.remove_controller("port")
        assert records.logbook() == b.FULL_LOGBOOK


def test_what_is_not_stored_is_said_to_be_missing(store: Store) -> None:
    with store.writing() as records:
        b.fill(records)
        missing: dict[str, tuple[Callable[[], object], ...]] = {
            "no pack named 'tug 1' is stored": (
                lambda: records.pack("tug 1"),
                lambda: records.runs(["tug 1"]),
                lambda: records.charges(["Tug 1", "tug 1"]),
                lambda: records.remove_pack("tug 1"),
                lambda: records.add_runs([b.run("tug 1")]),
                lambda: records.add_charges([b.charge("tug 1")]),
                lambda: records.save_findings("tug 1", []),
                lambda: records.mark_stale("tug 1"),
            ),
            "of 'Tug 1' at 2024": (
                lambda: records.replace_run(b.run()),
                lambda: records.remove_run("Tug 1", b.START),
                lambda: records.replace_charge(b.charge()),
                lambda: records.remove_charge("Tug 1", b.START),
                lambda: records.save_estimates("Tug 1", [(b.START, b.estimate())]),
            ),
            "no vehicle named 'Groomer'": (
                lambda: records.vehicle("Groomer"),
                lambda: records.remove_vehicle("Groomer"),
                lambda: records.add_runs([b.run(vehicle="Groomer")]),
            ),
            r"no controller named '(port|starboard)'": (
                lambda: records.controller("port"),
                lambda: records.put_vehicle(b.FULL_VEHICLE),
                lambda: records.add_bench_tests([b.FULL_BENCH]),
                lambda: records.remove_bench_test("port", b.START),
            ),
        }
        for words, attempts in missing.items():
            for attempt in attempts:
                with pytest.raises(NotFoundError, match=words):
                    attempt()
        assert records.run("Tug 1", b.START) is None
        assert records.charge("Tug 1", b.START) is None
        assert records.bench_test("port", b.START) is None
        assert records.estimate("Tug 1", b.START) is None


def test_a_vehicle_keeps_its_controllers_in_their_order(store: Store) -> None:
    with store.writing() as records:
        b.put_logbook(records, b.FULL_LOGBOOK)
        for order in (("port", "starboard"), ("starboard", "port"), (), ("port",)):
            records.put_vehicle(replace(b.FULL_VEHICLE, controllers=order))
            assert records.vehicle("Groomer").controllers == order
        with pytest.raises(InputError, match="names a controller twice"):
            records.put_vehicle(Vehicle(name="Buggy", controllers=("port", "port")))


def test_a_bench_test_without_a_reading_is_refused(store: Store) -> None:
    with store.writing() as records:
        b.put_logbook(records, b.FULL_LOGBOOK)
        with pytest.raises(InputError, match="holds no reading"):
            records.add_bench_tests([BenchTest(controller="port", tested_at=b.START, readings=())])


def test_the_number_of_cells_cannot_change_under_readings_of_each(store: Store) -> None:
    with store.writing() as records:
        b.fill(records)
        records.add_runs([b.run(before_v=(12.6,))])
        records.put_pack(b.pack(series=4))
        records.put_pack(b.pack(series=3))
        records.add_charges([b.charge(cell_ohm=(0.004, 0.004, 0.005))])
        with pytest.raises(InputError, match="readings of every cell that do not fit 4 in series"):
            records.put_pack(b.pack(series=4))
        assert records.pack("Tug 1").series == 3


def test_runs_and_charges_can_be_narrowed(store: Store) -> None:
    with store.writing() as records:
        b.fill(records, ("A", "B", "C"), runs=5)
        records.add_charges(b.charge(name, hours) for name in ("A", "B") for hours in range(3))
        assert {(r.pack, r.started_at) for r in records.runs(["C", "A"])} == {(name, b.at(h)) for name in "AC" for h in range(5)}
        assert [r.pack for r in records.runs(["C", "A", "C"])] == ["A"] * 5 + ["C"] * 5
        assert [r.started_at for r in records.runs(["B"], since=b.at(3))] == [b.at(3), b.at(4)]
        assert [(r.pack, r.started_at) for r in records.runs(limit_last=1)] == [(name, b.at(4)) for name in "ABC"]
        assert [r.started_at for r in records.runs(["A"], limit_last=2)] == [b.at(3), b.at(4)]
        assert [(c.pack, c.finished_at) for c in records.charges(limit_last=1)] == [("A", b.at(2)), ("B", b.at(2))]
        assert [c.finished_at for c in records.charges(["B"], since=b.at(1))] == [b.at(1), b.at(2)]
        assert records.runs([]) == []


def test_more_packs_than_one_statement_can_name(store: Store) -> None:
    named = [f"P{number:04d}" for number in range(603)]
    with store.writing() as records:
        b.fill(records, tuple(named), runs=1)
        for name in named:
            records.save_findings(name, [b.BARE_FINDING])
        assert [found.pack for found in records.runs(list(reversed(named[1:])))] == named[1:]
        assert list(records.findings(named)) == named


def test_saved_estimates_take_the_place_of_earlier_ones_of_the_same_runs(store: Store) -> None:
    with store.writing() as records:
        b.fill(records, ("A", "B"), runs=4)
        for name in ("A", "B"):
            records.save_estimates(name, [(b.at(hours), b.estimate("model 1")) for hours in range(4)])
        records.save_estimates("A", [(b.at(2), b.estimate("model 2")), (b.at(1), b.estimate("model 2"))])
        models = {key: found.model for key, found in records.estimates(["A"]).items()}
        assert models == {("A", b.at(0)): "model 1", ("A", b.at(1)): "model 2", ("A", b.at(2)): "model 2", ("A", b.at(3)): "model 1"}
        assert list(records.estimates(model="model 2")) == [("A", b.at(1)), ("A", b.at(2))]
        assert len(records.estimates()) == 8
        assert records.estimate("A", b.at(1), "model 1") is None


def test_stale_packs_are_those_with_a_run_this_model_has_not_estimated(store: Store) -> None:
    with store.writing() as records:
        b.fill(records, ("A", "B", "empty"), runs=0)
        assert records.stale_packs("model 1") == ()
        records.add_runs(b.run(name, hours) for name in ("A", "B") for hours in range(3))
        assert records.stale_packs("model 1") == ("A", "B")
        for name in ("A", "B"):
            records.save_estimates(name, [(b.at(hours), b.estimate("model 1")) for hours in range(3)])
        assert records.stale_packs("model 1") == ()
        assert records.stale_packs("model 2") == ("A", "B")
        records.add_runs([b.run("B", 9)])
        assert records.stale_packs("model 1") == ("B",)


def test_marking_stale_drops_from_a_time_on(store: Store) -> None:
    known = StoredKnowledge(model="model 1", as_of=b.at(2), payload="{}")
    with store.writing() as records:
        b.fill(records, ("A", "B"), runs=4)
        for name in ("A", "B"):
            records.save_estimates(name, [(b.at(hours), b.estimate()) for hours in range(4)])
            records.save_knowledge(name, known)
        records.mark_stale("A", b.at(3))
        assert list(records.estimates(["A"])) == [("A", b.at(hours)) for hours in range(3)]
        assert records.knowledge(["A"]) == {"A": known}, "what was learned before then still holds"
        records.mark_stale("A", b.at(1))
        assert list(records.estimates(["A"])) == [("A", b.at(0))]
        assert records.knowledge() == {"B": known}
        records.mark_stale("A")
        assert records.estimates(["A"]) == {}
        assert len(records.estimates(["B"])) == 4
        assert starts(records, "A") == [0, 1, 2, 3]


def test_last_estimates_are_of_the_latest_run_that_has_one(store: Store) -> None:
    with store.writing() as records:
        b.fill(records, ("B", "A", "none"), runs=3)
        records.save_estimates("A", [(b.at(hours), b.estimate("model 1")) for hours in range(3)])
        records.save_estimates("B", [(b.at(1), b.estimate("model 1")), (b.at(0), b.estimate("model 2"))])
        assert list(records.last_estimates()) == [("A", b.at(2)), ("B", b.at(1))]
        assert list(records.last_estimates("model 2")) == [("B", b.at(0))]


def test_deep_runs_are_counted_by_their_worst_cell(store: Store) -> None:
    grades = ("fine", "low", "deep", "damaging", None, "deep")
    with store.writing() as records:
        b.fill(records, ("A", "B"), runs=len(grades))
        records.save_estimates("A", [(b.at(hours), b.estimate(grade=grade)) for hours, grade in enumerate(grades)])
        records.save_estimates("B", [(b.at(0), b.estimate(grade="low"))])
        assert records.deep_counts() == {"A": 3}
        assert records.deep_counts("model 1") == {"A": 3}
        assert records.deep_counts("model 2") == {}


def test_findings_and_knowledge_are_replaced(store: Store) -> None:
    with store.writing() as records:
        b.fill(records, ("A", "B"))
        records.save_findings("A", [b.BARE_FINDING, b.FINDING])
        records.save_findings("A", [b.FINDING, b.BARE_FINDING, b.FINDING])
        records.save_findings("B", [b.BARE_FINDING])
        assert records.findings(["A"]) == {"A": (b.FINDING, b.BARE_FINDING, b.FINDING)}
        assert list(records.findings()) == ["A", "B"]
        records.save_findings("A", [])
        assert list(records.findings()) == ["B"]
        for model in ("model 1", "model 2"):
            records.save_knowledge("A", StoredKnowledge(model=model, as_of=b.START, payload="[1]"))
        assert {name: known.model for name, known in records.knowledge().items()} == {"A": "model 2"}
        assert records.knowledge(model="model 1") == {}


def test_packs_driven_in_a_vehicle(store: Store) -> None:
    with store.writing() as records:
        b.fill(records, ("A", "B", "C"))
        for name in ("Groomer", "Buggy"):
            records.put_vehicle(Vehicle(name=name))
        records.add_runs([b.run("B", vehicle="Groomer"), b.run("A", vehicle="Groomer"), b.run("A", 1, vehicle="Buggy"), b.run("C")])
        assert records.packs_driven(["Groomer"]) == ("A", "B")
        assert records.packs_driven(["Buggy", "nothing"]) == ("A",)


def test_an_unknown_kind_is_kept_without_a_migration(store: Store) -> None:
    """Kinds are keys defined in code; a new one is no business of the tables."""
    with store.writing() as records:
        records.put_pack(b.pack(chemistry="sodium"))
        records.add_runs([b.run(ended_by="rain")])
        assert records.pack("Tug 1").chemistry == "sodium"
        assert records.runs()[0].ended_by == "rain"
