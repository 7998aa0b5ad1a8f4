"""What is said of a pack's health, from results made up here: the shapes of the document and of the words."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import timedelta

from tests.dashboard.fakes import NOW, made_learning
from tracker.cli.documents import health_document
from tracker.cli.health import health_lines
from tracker.domain.health import PackHealth
from tracker.domain.pack import Pack
from tracker.domain.results import Finding, NotEnough

FINDING = Finding(
    rule="cell_weak",
    severity="caution",
    subject="Tug 1",
    message="Cell 2 holds 10 % less.",
    why="It empties first.",
    source="A. Author 2020",
)


def health(cells: int = 3, runs: int = 24) -> PackHealth:
    pack = Pack(name="Tug 1", chemistry="lipo", series=cells, capacity_ah=5.0)
    return made_learning(pack, [NOW - timedelta(days=runs - index) for index in range(runs)]).health


def test_the_document_has_every_number_unrounded() -> None:
    known = replace(health(), findings=(FINDING,))
    [pack] = json.loads(json.dumps(health_document("m 1", [known]), allow_nan=False))["packs"]
    assert (pack["pack"], pack["chemistry"], pack["runs"], pack["deep_runs"], pack["rated_mah"]) == ("Tug 1", "lipo", 24, 3, 5000)
    assert pack["equivalent_full_cycles"] == known.outlook.full_cycles
    assert pack["weighted_cycles"] == known.outlook.weighted_cycles
    assert (pack["weakest_cell"], pack["restless_cells"], pack["outlook"]) == (2, [3], known.outlook.sentence)
    assert pack["runs_left"] == {"value": 110, "low": 68, "high": 190}
    assert pack["fade_percent_per_100_cycles"]["value"] == 100 * 0.024
    assert "why" not in pack
    cell = pack["cells"][1]
    known_cell = known.cells[1]
    assert not isinstance(known_cell.capacity_ah, NotEnough)
    assert not isinstance(known_cell.resistance_ohm, NotEnough)
    assert cell["cell"] == 2
    assert cell["capacity_mah"]["value"] == 1000 * known_cell.capacity_ah.value
    assert cell["resistance_mohm"]["low"] == 1000 * known_cell.resistance_ohm.low
    assert pack["cells"][2]["excess_loss_percent_per_month"]["value"] == 100 * 0.021
    assert pack["findings"][0]["rule"] == "cell_weak"


def test_what_is_not_known_is_null_with_its_reason() -> None:
    [pack] = health_document("m 1", [health(2, 3)])["packs"]
    for name in ("capacity_mah", "health", "weakest_ratio", "fade_percent_per_100_cycles", "runs_left", "resistance_growth"):
        assert pack[name] is None
    assert pack["why"] == "No charge was counted yet. No cell stands out."
    assert pack["cells"][0] == {
        "cell": 1,
        "capacity_mah": None,
        "resistance_mohm": None,
        "excess_loss_percent_per_month": None,
        "why": "No charge was counted yet.",
    }


def test_a_pack_is_a_short_block_of_words() -> None:
    lines = list(health_lines([replace(health(), findings=(FINDING,))]))
    assert max(map(len, lines)) <= 80
    assert lines[3:] == [
        "Tug 1",
        "  lipo 3S 5,000 mAh; 24 runs, 3 too deep",
        "  holds 4,381 ± 121 mAh, 88 ± 2 % of rated, by its weakest cell",
        "  cell    holds mAh         mΩ  extra loss, % a month",
        "     1  4,861 ± 121  4.3 ± 0.3              0.0 ± 0.6",
        "     2  4,381 ± 121  4.3 ± 0.3              0.0 ± 0.6  weakest, 10 % less",
        "     3  4,821 ± 121  4.4 ± 0.3              2.1 ± 0.6  restless",
        "  drawn: 16.8 full cycles, 14.4 weighted by depth",
        "  Fading slowly: about 110 runs like those so far are left until it holds 80 %",
        "    of rated.",
        "  next: Keep it for gentle running.",
        "  caution: Cell 2 holds 10 % less.",
        "    why: It empties first. (A. Author 2020)",
    ]


def test_a_column_of_nothing_and_a_pack_of_nothing_are_left_out() -> None:
    known = health(1)
    blind = replace(known, cells=(replace(known.cells[0], excess_loss_per_month=NotEnough("one cell has no neighbours")),))
    lines = list(health_lines([blind]))
    assert lines[5] == "  holds 4,861 ± 121 mAh, 97 ± 2 % of rated"
    assert "% a month" not in "".join(lines)
    nothing = list(health_lines([health(2, 0)]))
    assert nothing[3:6] == [
        "Tug 1",
        "  lipo 2S 5,000 mAh; 0 runs, none too deep",
        "  what it holds is not known: No charge was counted yet.",
    ]
    assert len(nothing) == 7


def test_a_name_that_steers_a_terminal_is_shown_not_obeyed() -> None:
    assert "\x1b" not in "".join(health_lines([replace(health(), pack="Tug\x1b[31m")]))
