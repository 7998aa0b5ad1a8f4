"""What is learned of packs, kept current in a real database: after each row, after everything anew, and by two programs at once."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from pathlib import Path

import pytest

from tests.tracker.estimators import remembering as r
from tests.tracker.estimators.finite import faults
from tests.tracker.estimators.written_packs import Driven, driven
from tracker.domain.controller import Vehicle
from tracker.domain.health import PackHealth, PackLearning
from tracker.domain.pack import Pack
from tracker.domain.results import Estimate, NotEnough
from tracker.domain.session import Charge, Run
from tracker.errors import NotFoundError
from tracker.estimators import MODEL
from tracker.services import Services, open_services
from tracker.store.database import open_store
from tracker.store.results import StoredKnowledge

pytestmark = pytest.mark.long

HISTORY = driven(
    Driven(name="Pond 1", outings=30, capacity=(0.98, 0.96, 0.84), noise_v=0.004, resistance=(1.0, 1.0, 1.2), shown_ohm=True)
).history
NOW = HISTORY.charges[-1].finished_at + timedelta(hours=5)


RUNS = (0, 6, 13, 14, 30)
"""After so many of the history's runs the logbook is kept, for tests to begin with."""


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Logbooks by number of runs: a pack, a vehicle and the first charge, then runs and charges one after the other, as they happened."""
    folder = tmp_path_factory.mktemp("pond")
    with open_services(f"sqlite:///{folder / 'logbook.sqlite3'}") as services:
        services.packs.save(HISTORY.pack)
        services.controllers.save(Vehicle(name="Tug"))
        services.charges.log(HISTORY.charges[0])
        for done, until in pairwise((0, *RUNS)):
            write(services, done, until)
            services.exchange.backup(folder / f"{until}.sqlite3")
    return folder


@pytest.fixture
def runs() -> int:
    """How many runs are written down at first, unless a test says otherwise."""
    return 30


@pytest.fixture
def pond(kept: Path, runs: int, tmp_path: Path, url: str) -> Iterator[Services]:
    """The logbook with so many runs."""
    shutil.copy(kept / f"{runs}.sqlite3", tmp_path / "logbook.sqlite3")
    with open_services(url) as opened:
        yield opened


def having(runs: int) -> pytest.MarkDecorator:
    """Begin with the logbook after so many runs."""
    assert runs in RUNS
    return pytest.mark.parametrize("runs", [runs])


def write(services: Services, first: int, until: int) -> None:
    """Write down runs and charges one after the other, as they happened."""
    for run, charge in zip(HISTORY.runs[first:until], HISTORY.charges[first + 1 : until + 1], strict=True):
        services.runs.log(run)
        services.charges.log(charge)


def learned(services: Services, name: str = "Pond 1") -> tuple[PackLearning, PackHealth, object]:
    return services.packs.learning(name), services.packs.health(name, NOW)[0], services.runs.assess(name)


def knowledge(url: str, name: str = "Pond 1") -> StoredKnowledge | None:
    with open_store(url) as store, store.reading() as records:
        return records.knowledge([name], MODEL).get(name)


def overwrite(url: str, payload: str | None) -> None:
    """Put another text in place of what was kept of a pack's learning, or nothing."""
    with open_store(url) as store, store.writing() as records:
        stored = records.knowledge(["Pond 1"], MODEL)["Pond 1"]
        if payload is not None:
            records.save_knowledge("Pond 1", replace(stored, payload=payload))
        else:
            records.connection.exec_driver_sql("DELETE FROM pack_knowledge")


@having(0)
def test_each_row_written_down_is_learned_at_once(pond: Services, url: str) -> None:
    """Regression: after every run health counts it, nothing waits, and what is kept goes up to it."""
    for count, (run, charge) in enumerate(zip(HISTORY.runs[:5], HISTORY.charges[1:6], strict=True), start=1):
        pond.runs.log(run)
        assert pond.runs.waiting() == 0
        stored = knowledge(url)
        assert stored is not None
        assert stored.as_of == run.started_at
        assert pond.packs.health("Pond 1")[0].runs == count
        pond.charges.log(charge)
        assert len(pond.packs.learning("Pond 1").points) == count


def test_row_by_row_is_the_same_as_everything_anew(pond: Services, url: str) -> None:
    """Regression: to the last digit, learned row by row, from the beginning, and imported in one go."""
    row_by_row = learned(pond)
    pond.runs.assess(everything=True)
    assert learned(pond) == row_by_row
    overwrite(url, None)
    assert learned(pond) == row_by_row
    assert row_by_row[1].weakest_cell == 3


def test_changing_and_removing_rows_is_the_same_as_everything_anew(pond: Services) -> None:
    """Regression: a run replaced, one back-dated, a charge replaced, a run and a charge removed."""
    pond.runs.log(replace(HISTORY.runs[20], after_v=(3.7, 3.7, 3.6)), replace=True)
    pond.runs.log(Run(pack="Pond 1", started_at=HISTORY.runs[9].started_at + timedelta(hours=1), run_s=60.0, after_v=(11.0,)))
    pond.charges.log(replace(HISTORY.charges[14], put_back_ah=3.9), replace=True)
    pond.runs.remove("Pond 1", HISTORY.runs[3].started_at)
    pond.charges.remove("Pond 1", HISTORY.charges[5].finished_at)
    pond.controllers.save(Vehicle(name="Tug", usual_a=14.0))
    pond.packs.save(replace(HISTORY.pack, capacity_ah=4.8))
    after = learned(pond)
    assert after[1].rated_ah == 4.8
    assert after[1].runs == 30
    pond.runs.assess(everything=True)
    assert learned(pond) == after


@having(13)
def test_a_preview_learns_nothing(pond: Services, url: str) -> None:
    """Regression: and says what writing it down then says."""
    before = knowledge(url)
    said = pond.runs.preview(HISTORY.runs[13])
    assert knowledge(url) == before
    assert pond.packs.health("Pond 1")[0].runs == 13
    assert pond.runs.log(HISTORY.runs[13]).cells == said.cells


@having(14)
@pytest.mark.parametrize(
    "payload",
    ["", "{}", "[]", "null", "1", '{"digests": ["a"], "rows": {}, "drawn": [], "marks": [], "dots": [], "dots_first": 0}', "{" * 40],
)
def test_what_cannot_be_read_is_learned_anew(pond: Services, url: str, payload: str) -> None:
    """Breaking: a damaged cache is no error; the page shows the same, and so does the next run."""
    before = learned(pond)
    overwrite(url, payload)
    assert learned(pond) == before
    overwrite(url, payload)
    write(pond, 14, 15)
    after = learned(pond)
    pond.runs.assess(everything=True)
    assert learned(pond) == after


def test_knowledge_that_is_lost_is_made_again(pond: Services, url: str) -> None:
    """Regression: the box, the health of all packs and a pack's page find it again by themselves."""
    states, health = pond.packs.states(NOW), pond.packs.health(now=NOW)
    looks: list[Callable[[], bool]] = [lambda: pond.packs.states(NOW) == states, lambda: pond.packs.health(now=NOW) == health]
    for look in looks:
        overwrite(url, None)
        assert knowledge(url) is None
        assert look()
        assert knowledge(url) is not None
    overwrite(url, None)
    assert pond.runs.waiting() == 30
    pond.runs.refresh()
    assert pond.runs.waiting() == 0


@having(6)
def test_what_another_version_learned_is_learned_anew(pond: Services, url: str) -> None:
    """Regression: knowledge of an earlier method is not taken up."""
    before = learned(pond)
    with open_store(url) as store, store.writing() as records:
        records.save_knowledge(
            "Pond 1", replace(records.knowledge(["Pond 1"])["Pond 1"], model="earlier", payload="who knows", health="[]")
        )
    assert learned(pond) == before


@having(0)
def test_two_programs_writing_at_once_lose_nothing(pond: Services, url: str) -> None:
    """Breaking: runs of one pack from one program, charges from another; at the end all is learned as if by one."""

    def all_of(rows: Sequence[Run] | Sequence[Charge]) -> None:
        with open_services(url) as other:
            for row in rows:
                if isinstance(row, Run):
                    other.runs.log(row)
                else:
                    other.charges.log(row)

    with ThreadPoolExecutor(2) as pool:
        for done in [pool.submit(all_of, rows) for rows in (HISTORY.runs[:15], HISTORY.charges[1:16])]:
            done.result()
    together = learned(pond)
    assert together[1].runs == 15
    pond.runs.assess(everything=True)
    assert learned(pond) == together


def test_packs_that_were_never_run(services: Services) -> None:
    """Limit: no pack, then one without a run, with charges and without: nothing known and nothing claimed."""
    assert services.packs.health() == ()
    assert services.packs.states(NOW) == ()
    services.packs.save(HISTORY.pack)
    for _ in range(2):
        [health] = services.packs.health(now=NOW)
        assert (health.pack, health.runs, health.weakest_cell, health.restless_cells) == ("Pond 1", 0, None, ())
        assert isinstance(health.capacity_ah, NotEnough)
        assert health.next
        learning = services.packs.learning("Pond 1")
        assert learning.points == ()
        assert not learning.curve.learned
        assert [*faults(health), *faults(learning)] == []
        services.charges.log(HISTORY.charges[0])
    assert services.runs.waiting() == 0


def test_retired_packs_are_shown_only_when_asked_for(pond: Services) -> None:
    """Limit: what was learned of a pack out of use stays to be looked at."""
    in_use = pond.packs.health("Pond 1", NOW)[0]
    pond.packs.save(replace(HISTORY.pack, retired_on=date(2025, 6, 1)))
    assert pond.packs.health(now=NOW) == ()
    found = pond.packs.health("Pond 1", NOW)[0]
    assert found.cells == in_use.cells
    assert len(pond.packs.learning("Pond 1").points) == 30


@having(0)
@pytest.mark.parametrize("name", ["Pond 2", "", "pond 1"])
def test_a_name_that_is_not_there_is_refused(pond: Services, name: str) -> None:
    """Limit: with the name, by each of the ways to ask."""
    for ask in (pond.packs.health, pond.packs.learning, pond.packs.record, pond.runs.assess_as_then):
        with pytest.raises(NotFoundError):
            ask(name)


@having(0)
def test_states_carry_no_capacity_before_the_first_run(pond: Services) -> None:
    """Limit: nothing known and nothing claimed."""
    [state] = pond.packs.states(NOW)
    assert isinstance(state.capacity, NotEnough)
    assert isinstance(state.health, NotEnough)


def test_states_carry_what_the_pack_holds(pond: Services) -> None:
    """Limit: capacity of the weakest cell and its share of rated, in the box and on the page, once they are known."""
    [state], [health] = pond.packs.states(NOW), pond.packs.health(now=NOW)
    assert isinstance(state.capacity, Estimate)
    assert isinstance(state.health, Estimate)
    assert state.capacity == health.capacity_ah
    assert state.health.value == pytest.approx(state.capacity.value / 5.0)
    assert state.capacity.low <= 0.84 * 5.0 <= state.capacity.high
    assert pond.packs.record("Pond 1", NOW).state == state
    assert (health.next, health.findings) == (state.next, state.findings)
    assert health.deep_runs == state.deep_runs
    assert any(finding.rule for finding in health.findings)


def test_as_then_differs_from_now_and_stores_nothing(pond: Services, url: str) -> None:
    """Limit: the first runs were known less surely then; the last one, with nothing after it, as it is now."""
    stored = knowledge(url)
    then, now = pond.runs.assess_as_then("Pond 1"), pond.runs.assess("Pond 1")
    assert [each.run for each in then] == [each.run for each in now]
    first, last = then[0].estimate.used_ah, then[-1].estimate.used_ah
    assert isinstance(first, Estimate)
    assert isinstance(last, Estimate)
    assert first != now[0].estimate.used_ah
    now_last = now[-1].estimate.used_ah
    assert isinstance(now_last, Estimate)
    assert last.value == pytest.approx(now_last.value, abs=0.01)
    assert knowledge(url) == stored


def test_many_packs_are_kept_apart(services: Services) -> None:
    """Regression: three packs written down in turn each know what they know alone."""
    services.controllers.save(Vehicle(name="Tug"))
    histories = [
        driven(Driven(name=f"Pond {series}", outings=8, capacity=(0.98, 0.9, 0.95)[:series], noise_v=0.004, seed=series)).history
        for series in (1, 2, 3)
    ]
    for history in histories:
        services.packs.save(history.pack)
        services.charges.log(history.charges[0])
    for place in range(8):
        for history in histories:
            services.runs.log(history.runs[place])
            services.charges.log(history.charges[place + 1])
    together = services.packs.health(now=datetime(2025, 6, 1, tzinfo=UTC))
    assert [health.pack for health in together] == ["Pond 1", "Pond 2", "Pond 3"]
    for history, health in zip(histories, together, strict=True):
        diary = r.Diary()
        alone = diary.look(history, {"Tug": Vehicle(name="Tug")}).learning.health
        assert replace(health, next="", findings=(), deep_runs=alone.deep_runs) == alone
        assert Pack(name=health.pack, chemistry="lipo", series=len(health.cells), capacity_ah=5.0) == history.pack
