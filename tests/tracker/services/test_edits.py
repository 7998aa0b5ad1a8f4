"""Adding, changing, renaming, deleting and taking back, on a real database, with the estimates that hang on it."""

from __future__ import annotations

import subprocess
import sys
import threading
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from uuid import UUID, uuid4

import pytest

from tests.tracker.small_logbook import write
from tests.tracker.store.conftest import new_postgres_schema
from tracker.domain.changes import Change, Key, Kind, Record
from tracker.domain.controller import Controller, Vehicle
from tracker.domain.logbook import Logbook
from tracker.domain.pack import Pack
from tracker.domain.session import Charge, Run
from tracker.errors import ConflictError, FieldErrors, InputError, NotFoundError, TrackerError
from tracker.services import Services, open_services

ROOT = Path(__file__).resolve().parents[3]
AT = datetime(2025, 4, 12, 10, tzinfo=UTC)
"""Of a run of Tug A."""
NEW = Run(pack="Tug B", started_at=AT + timedelta(days=7), run_s=720.0, vehicle="Pond tug", before_v=(4.19, 4.18), after_v=(3.81, 3.8))

SENDER = """
import sys
from dataclasses import replace
from tests.tracker.services.test_edits import NEW
from tracker.services import open_services

with open_services(sys.argv[1]) as services:
    print("ready", flush=True)
    sys.stdin.readline()
    print(services.edits.save(NEW, change_id=sys.argv[2]).at.isoformat(), flush=True)
"""


def book_of(services: Services) -> Logbook:
    with services._store.reading() as records:
        return records.logbook()


def estimates_of(services: Services) -> dict[object, object]:
    """What each run took, without making anything anew first."""
    with services._store.reading() as records:
        return dict(records.estimates())


def refused(services: Services, record: Record, replacing: Key | None = None) -> dict[str, str]:
    """Columns at fault when a record is saved; nothing is changed by trying."""
    before = book_of(services)
    with pytest.raises(FieldErrors) as caught:
        services.edits.save(record, replacing=replacing)
    assert book_of(services) == before
    return caught.value.problems


@pytest.fixture(params=["sqlite", "postgresql"])
def either_url(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """The URL of the small logbook in a database of each kind in turn."""
    urls = iter([f"sqlite:///{tmp_path / 'logbook.sqlite3'}"]) if request.param == "sqlite" else new_postgres_schema()
    for url in urls:
        with open_services(url) as services:
            services.exchange.import_files(write(tmp_path / "small"))
        yield url


def test_a_run_written_down_changed_moved_and_deleted_is_estimated_in_the_same_call(filled: Services) -> None:
    filled.runs.assess()
    began = (book_of(filled), estimates_of(filled))
    key = (NEW.pack, NEW.started_at)
    moved = replace(NEW, pack="Tug A", started_at=AT - timedelta(days=2), vehicle=None, notes="0,1 \"'")
    changes = [
        filled.edits.save(NEW),
        filled.edits.save(replace(NEW, after_v=(3.6, 3.61)), replacing=key),
        filled.edits.save(moved, replacing=key),
    ]
    assert filled.runs.one("Tug A", moved.started_at).run == moved
    with pytest.raises(NotFoundError, match="is not stored"):
        filled.runs.one(*key)
    changes.append(filled.edits.remove("run", ("Tug A", AT)))
    stored = estimates_of(filled)
    assert set(stored) == {(run.pack, run.started_at) for run in book_of(filled).runs}
    assert stored == {(each.run.pack, each.run.started_at): each.estimate for each in filled.runs.assess(everything=True)}
    for change in reversed(changes):
        filled.edits.undo(change.id)
    assert (book_of(filled), estimates_of(filled)) == began


def test_what_was_done_is_said_in_words(filled: Services) -> None:
    tug, tests = filled.packs.get("Tug A"), filled.controllers.tests("Left")
    run = replace(NEW, started_at=datetime(2024, 3, 5, 14, 30).astimezone())
    new_name = "<b>'\" " + "x" * 193
    done = [
        filled.edits.save(run),
        filled.edits.save(replace(run, notes="x"), replacing=("Tug B", run.started_at)),
        filled.edits.save(replace(tug, retired_on=date(2025, 5, 1)), replacing="Tug A"),
        filled.edits.save(tug, replacing="Tug A"),
        filled.edits.save(replace(tug, name=new_name), replacing="Tug A"),
        filled.edits.remove("pack", new_name),
        filled.edits.save(replace(tests[0], tested_at=run.started_at), replacing=("Left", tests[0].tested_at)),
        filled.edits.save(Vehicle(name="Barge")),
        filled.edits.remove("vehicle", "Barge"),
    ]
    assert [change.words.replace(new_name, "NEW") for change in done] == [
        "Run of 'Tug B', 5 Mar 2024 14:30, written down",
        "Run of 'Tug B', 5 Mar 2024 14:30, changed",
        "Pack 'Tug A' retired",
        "Pack 'Tug A' taken back into use",
        "Pack 'Tug A' renamed to 'NEW'",
        "Pack 'NEW' deleted with 2 runs and 1 charge",
        f"Bench test of 'Left', 1 Mar 2025 {tests[0].tested_at.astimezone():%H:%M}, moved to 'Left', 5 Mar 2024 14:30",
        "Model 'Barge' written down",
        "Model 'Barge' deleted",
    ]
    assert filled.edits.recent(3) == (done[-1], done[-2], done[-3])
    assert [filled.edits.done(change.id) for change in done] == done


def test_what_is_renamed_keeps_everything_that_hangs_on_it(filled: Services) -> None:
    filled.runs.assess()
    before = book_of(filled)
    tug, left, boat = filled.packs.get("Tug A"), filled.controllers.all()[0], filled.controllers.vehicles()[0]
    filled.edits.save(replace(tug, name="Harbour"), replacing="Tug A")
    filled.edits.save(replace(left, name="Port"), replacing="Left")
    filled.edits.save(replace(boat, name="Barge", controllers=("Port", "Right")), replacing="Pond tug")
    after = book_of(filled)
    assert [run for run in after.runs if run.pack == "Harbour"] == [
        replace(run, pack="Harbour", vehicle="Barge") for run in before.runs if run.pack == "Tug A"
    ]
    assert [charge.pack for charge in after.charges] == ["Harbour", "Tug B"]
    assert [test.controller for test in after.bench_tests] == ["Port"]
    assert filled.packs.record("Harbour").runs
    assert not any("Tug A" in finding.subject for finding in filled.packs.findings())


def filled_with_settings(book: Logbook) -> list[Run]:
    """Runs as they are once the controllers' settings of the small logbook were written into them."""
    return [run if run.cutoff_v or run.vehicle is None else replace(run, cutoff_v=(6.4, 5.1)) for run in book.runs]


def test_settings_written_into_past_runs_are_taken_back_with_the_controller(filled: Services) -> None:
    before = book_of(filled)
    left = filled.controllers.all()[0]
    change = filled.edits.save(replace(left, cutoff_v=6.6), replacing="Left")
    assert list(book_of(filled).runs) == filled_with_settings(before)
    told = replace(filled.runs.one("Tug B", datetime(2025, 4, 5, 11, tzinfo=UTC)).run, notes="told since")
    filled.edits.save(told, replacing=("Tug B", told.started_at))
    filled.edits.undo(change.id)
    expected = [replace(run, notes="told since") if run.pack == "Tug B" else run for run in before.runs]
    assert book_of(filled) == replace(before, runs=tuple(expected))


def test_what_has_been_changed_since_is_not_taken_back(filled: Services, tmp_path: Path) -> None:
    tug = filled.packs.get("Tug A")
    first = filled.edits.save(replace(tug, notes="a"), replacing="Tug A")
    second = filled.edits.save(replace(tug, notes="b"), replacing="Tug A")
    with pytest.raises(
        ConflictError, match=r"cannot be taken back: Pack 'Tug A' changed\. Since then: Pack 'Tug A' changed\. Take that back"
    ):
        filled.edits.undo(first.id)
    assert filled.packs.get("Tug A").notes == "b"
    filled.exchange.import_files(write(tmp_path / "again", packs=""), update=True)
    with pytest.raises(ConflictError, match="by an import or elsewhere; change it by hand"):
        filled.edits.undo(second.id)
    added = filled.edits.save(Pack(name="New", chemistry="lipo", series=3, capacity_ah=2.2))
    used = filled.edits.save(replace(NEW, pack="New", before_v=(12.5,), after_v=(11.4,), vehicle=None))
    with pytest.raises(ConflictError, match=r"Since then: Run of 'New'"):
        filled.edits.undo(added.id)
    filled.edits.undo(used.id)
    assert filled.edits.undo(added.id).undone
    assert filled.edits.undo(added.id).undone  # once more does nothing
    assert book_of(filled).packs[0].name == "Groomer"
    with pytest.raises(NotFoundError, match="no change 'nobody' is kept"):
        filled.edits.undo("nobody")


def test_what_no_longer_fits_is_not_put_back(filled: Services) -> None:
    old = filled.packs.get("Old one")
    wider = filled.edits.save(replace(old, series=4), replacing="Old one")
    filled.edits.save(Charge(pack="Old one", finished_at=AT, end_v=(4.1, 4.1, 4.1, 4.1)))
    with pytest.raises(ConflictError, match="do not fit 3 in series"):
        filled.edits.undo(wider.id)
    left, right = filled.controllers.all()
    less = filled.edits.save(replace(left, load_share=0.3), replacing="Left")
    filled.edits.save(replace(right, load_share=0.7), replacing="Right")
    with pytest.raises(ConflictError, match=r"0\.5 \+ 0\.7 = 1\.2"):
        filled.edits.undo(less.id)


def test_a_number_given_away_meanwhile_is_not_mistaken(filled: Services) -> None:
    """SQLite gives the number of the last row again once that row is gone."""
    late = replace(NEW, started_at=NEW.started_at + timedelta(days=1))
    added = filled.edits.save(NEW)
    moved = filled.edits.save(replace(NEW, pack="Old one", before_v=(12.4,), after_v=(11.4,)), replacing=("Tug B", NEW.started_at))
    deleted = filled.edits.remove("pack", "Old one")
    filled.edits.save(Pack(name="Newest", chemistry="lipo", series=2, capacity_ah=2.2))
    filled.edits.save(late)
    for change in (moved, added):
        with pytest.raises(ConflictError, match="Since then: Pack 'Old one' deleted with 1 run"):
            filled.edits.undo(change.id)
    filled.edits.undo(deleted.id)
    filled.edits.undo(moved.id)
    assert filled.runs.one("Tug B", NEW.started_at).run == NEW
    filled.edits.undo(added.id)
    assert [run for run in book_of(filled).runs if run.started_at >= NEW.started_at] == [late]


def test_what_cannot_be_is_refused(filled: Services) -> None:
    tug = filled.packs.get("Tug A")
    left, right = filled.controllers.all()
    boat = filled.controllers.vehicles()[0]
    assert list(refused(filled, replace(tug, series=3), "Tug A")) == ["series"]
    assert list(refused(filled, replace(tug, name="", chemistry="soap"), "Tug A")) == ["pack", "chemistry"]
    assert list(refused(filled, replace(NEW, after_v=(3.7, 3.7, 3.7), vehicle="Barge"))) == ["after_v", "vehicle"]
    assert list(refused(filled, replace(NEW, started_at=datetime.now(UTC) + timedelta(days=3)))) == ["started_at"]
    assert list(refused(filled, replace(left, restart_v=6.3), "Left")) == ["restart_v"]
    assert list(refused(filled, replace(right, cutoff_v=None), "Right")) == ["cutoff_v"]
    assert list(refused(filled, replace(left, load_share=0.502), "Left")) == ["load_share"]
    assert list(refused(filled, replace(boat, controllers=("Left", "Left")), "Pond tug")) == ["controllers"]
    assert list(refused(filled, replace(boat, controllers=("Port",)), "Pond tug")) == ["controllers"]
    filled.edits.save(replace(left, load_share=0.501, restart_v=6.4), replacing="Left")
    filled.edits.save(replace(right, cutoff_mode="none", cutoff_v=None), replacing="Right")
    third = Controller(name="Third", cutoff_mode="none", load_share=0.1)
    filled.edits.save(third)
    assert list(refused(filled, replace(boat, controllers=("Left", "Right", "Third")), "Pond tug")) == ["controllers"]


REFUSED: list[tuple[Kind, Key, str]] = [
    ("vehicle", "Pond tug", r"vehicle 'Pond tug' cannot be deleted: 3 runs name it; change or delete those first"),
    ("controller", "Left", r"controller 'Left' cannot be deleted: it is in 'Pond tug'; take it out there first"),
    ("pack", "Tug Z", "Pack 'Tug Z' is not stored"),
    ("charge", ("Tug A", AT), "Charge of 'Tug A', 12 Apr 2025"),
    ("bench", ("Port", AT), "Bench test of 'Port'"),
    ("run", "Tug A", "a run is named by a name and a time"),
    ("run", ("Tug A", datetime(2025, 4, 12)), "has no time zone"),  # noqa: DTZ001 - just that
]


@pytest.mark.parametrize(("kind", "key", "words"), REFUSED)
def test_what_cannot_be_deleted_says_why(filled: Services, kind: Kind, key: Key, words: str) -> None:
    before = book_of(filled)
    with pytest.raises(TrackerError, match=words):
        filled.edits.remove(kind, key)
    assert book_of(filled) == before
    assert filled.edits.recent() == ()


def test_a_key_that_is_taken_is_refused(filled: Services) -> None:
    tug, run = filled.packs.get("Tug A"), filled.runs.one("Tug A", AT).run
    for record, replacing in ((replace(tug, notes="x"), None), (replace(tug, name="Tug B"), "Tug A"), (replace(run, notes="x"), None)):
        with pytest.raises(ConflictError, match="is stored already"):
            filled.edits.save(record, replacing=replacing)
    assert "nothing changed" in filled.edits.save(tug).words
    assert filled.edits.recent() == ()


def test_the_same_request_is_done_once(filled: Services, url: str) -> None:
    given = str(uuid4()).upper()
    change = filled.edits.save(NEW, change_id=given)
    assert change.id == given
    assert filled.edits.save(NEW, change_id=given) == change
    with pytest.raises(ConflictError, match=f"the change {given} is stored already and is another one: Run of 'Tug B'"):
        filled.edits.save(replace(NEW, notes="x"), change_id=given)
    with pytest.raises(ConflictError, match="another one"):
        filled.edits.remove("run", ("Tug B", NEW.started_at), change_id=given)
    with pytest.raises(InputError, match="is not the id of a change"):
        filled.edits.save(NEW, change_id="1; DROP TABLE run")
    with open_services(url) as elsewhere:  # another device, or after a restart
        assert elsewhere.edits.save(NEW, change_id=given) == change
        undone = elsewhere.edits.undo(given)
    assert undone == replace(change, undone=True)
    assert filled.edits.save(NEW, change_id=given) == undone
    assert NEW not in book_of(filled).runs
    assert filled.edits.done(given) == undone
    assert filled.edits.done(uuid4().hex) is None


def test_threads_and_a_process_that_send_the_same_at_once_store_it_once(either_url: str) -> None:
    given = uuid4().hex
    process = subprocess.Popen(
        [sys.executable, "-c", SENDER, either_url, given], cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    assert process.stdin is not None
    assert process.stdout is not None
    assert process.stdout.readline().strip() == "ready"
    together = threading.Barrier(4)

    def send(_: int) -> Change:
        with open_services(either_url) as services:
            together.wait()
            return services.edits.save(NEW, change_id=given)

    process.stdin.write("\n")
    process.stdin.flush()
    with ThreadPoolExecutor(4) as pool:
        [change] = set(pool.map(send, range(4)))
    assert process.stdout.readline().strip() == change.at.isoformat()
    assert process.wait(60) == 0
    with open_services(either_url) as services:
        assert services.edits.recent() == (change,)
        assert book_of(services).runs.count(NEW) == 1
        services.edits.undo(given)
        assert NEW not in book_of(services).runs


def test_runs_and_charges_logged_otherwise_can_be_taken_back_too(filled: Services) -> None:
    before = book_of(filled)
    filled.runs.log(NEW)
    filled.runs.log(NEW)
    filled.runs.log(replace(NEW, notes="x"), replace=True)
    filled.charges.log(Charge(pack="Tug B", finished_at=AT, put_back_ah=2.0))
    filled.runs.remove("Tug A", AT)
    done = filled.edits.recent()
    assert len(done) == 4
    assert all(UUID(change.id) for change in done)
    for change in done:
        filled.edits.undo(change.id)
    assert book_of(filled) == before
    assert filled.edits.last() is None


def test_one_run_and_one_charge_and_the_tests_of_one_controller(filled: Services) -> None:
    book = book_of(filled)
    assert filled.runs.one("Tug A", AT).run == book.runs[2]
    assert filled.charges.one("Tug A", book.charges[0].finished_at) == book.charges[0]
    assert filled.controllers.tests("Left") == book.bench_tests
    assert filled.controllers.tests("Right") == ()
    for ask in (lambda: filled.charges.one("Tug A", AT), lambda: filled.runs.one("No", AT), lambda: filled.controllers.tests("No")):
        with pytest.raises(NotFoundError, match="stored"):
            ask()
