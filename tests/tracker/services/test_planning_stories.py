"""The packaged season's packs and models, planned for: what happened to them shows in what is advised."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tracker.domain.planning import CutoffPlan, CutoffTask
from tracker.domain.results import Estimate
from tracker.services import Services, open_services


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Services]:
    file: Path = tmp_path_factory.mktemp("season") / "logbook.sqlite3"
    with open_services(f"sqlite:///{file}") as services:
        services.exchange.load_demo()
        yield services


def plan(season: Services, pack: str, vehicle: str) -> CutoffPlan:
    return season.planning.cutoff(CutoffTask(pack=pack, vehicle=vehicle))


def test_a_nickel_cutoff_undoes_the_altered_one_beside_it(season: Services) -> None:
    """Common practice, no source: on two cells just over 5.0 V as bought, 6.4 to 6.5 V as altered."""
    found = plan(season, "Groomer B", "Snow groomer")
    left, right = found.present
    assert isinstance(left.trip_v, Estimate)
    assert isinstance(right.trip_v, Estimate)
    assert 5.0 < left.trip_v.value < 5.2
    assert 6.4 <= right.trip_v.value <= 6.5
    assert left.tested
    assert left.below_floor_probability > 0.95
    assert right.below_floor_probability < 0.3
    close, undone = found.findings[0], next(finding for finding in found.findings if finding.rule == "cutoff-undone")
    assert (close.rule, close.severity, close.subject) == ("cutoff-too-close", "stop", "left-track")
    assert "meant for nickel" in close.message
    assert (undone.severity, undone.subject) == ("stop", "left-track")


def test_the_harmed_groomer_is_not_to_be_run(season: Services) -> None:
    first = plan(season, "Groomer A", "Snow groomer").findings[0]
    assert (first.rule, first.severity, first.subject) == ("pack-not-to-be-run", "stop", "Groomer A")


def test_a_weak_cell_asks_for_more(season: Services) -> None:
    """Crawler A has a weak cell, Crawler B of the same label and model has none."""
    weak, sound = (plan(season, pack, "Rock crawler") for pack in ("Crawler A", "Crawler B"))
    assert weak.learned
    assert sound.learned
    assert weak.recommended is not None
    assert sound.recommended is not None
    assert weak.recommended.pack_v >= sound.recommended.pack_v
    assert weak.present[0].below_floor_probability > 3.0 * sound.present[0].below_floor_probability


def test_healthy_learned_packs_of_two_cells_let_go_where_people_have_them_let_go(season: Services) -> None:
    """Common practice, no source: 6.4 to 6.5 V, and somewhat more where a pack is driven hard."""
    for pack in ("Buggy B", "Buggy C"):
        chosen = plan(season, pack, "Sand buggy").recommended
        assert chosen is not None
        assert 6.2 <= chosen.pack_v <= 6.8
        assert chosen.below_floor_probability <= 0.01
