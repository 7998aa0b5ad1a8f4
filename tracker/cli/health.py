"""The command that says what each pack's history teaches about it."""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from tracker.cli.options import Commands, add_command, add_json, open_chosen, words

if TYPE_CHECKING:
    from tracker.domain.health import CellHealth, PackHealth

DESCRIPTION = """\
Shows what the history of each pack teaches: what it and each cell holds now
(mAh), the resistance of each cell (mΩ, at 25 °C and half charge), which cell is
weak or loses charge by standing, how the pack fades, and how many runs are left
until it holds 80 % of rated, by convention the end of a battery's useful life.
Behind ± is half the central 90 % interval.

Packs taken out of use are shown when they are named."""

EXAMPLES = """\
  pack-tracker health
  pack-tracker health --pack "Buggy B"
  pack-tracker health --json > health.json"""


def add_to(commands: Commands[argparse.ArgumentParser]) -> None:
    """Add the command."""
    parser = add_command(commands, "health", "what each pack holds, how it fades, which cell is weak", DESCRIPTION, EXAMPLES)
    parser.add_argument("--pack", metavar="NAME", type=words, help="this pack only")
    add_json(parser)
    parser.set_defaults(run=health)


def health(args: argparse.Namespace) -> int:
    """Show what is known of each pack."""
    from tracker.cli.documents import health_document, print_document
    from tracker.cli.output import show

    with open_chosen(args) as services:
        packs = services.packs.health(args.pack)
        model = services.runs.model
    if args.json:
        print_document(health_document(model, packs))
    elif packs:
        show(health_lines(packs))
    else:
        show(["No packs are stored yet. Bring in a packs file with 'pack-tracker import', or look around with 'pack-tracker demo'."])
    return 0


def health_lines(packs: Sequence[PackHealth]) -> Iterator[str]:
    """Return a short block a pack."""
    yield "As known now; ±: half the 90 % interval; mΩ: resistance at 25 °C, half charged"
    yield "extra loss: what a cell loses by standing beyond what the others lose"
    for pack in packs:
        yield ""
        yield from _pack_lines(pack)


def _pack_lines(pack: PackHealth) -> Iterator[str]:
    from tracker.cli.output import clean, counted, finding_lines, wrapped

    yield clean(pack.pack)
    yield f"  {_what(pack)}; {counted(pack.runs, 'run')}, {pack.deep_runs or 'none'} too deep"
    yield from wrapped(clean(_holds(pack)), "  ")
    for line in _cell_lines(pack):
        yield f"  {line}"
    if pack.runs:
        yield f"  drawn: {_cycles(pack.outlook.full_cycles)} full cycles, {_cycles(pack.outlook.weighted_cycles)} weighted by depth"
        yield from wrapped(clean(pack.outlook.sentence), "  ")
    yield from wrapped(clean(f"next: {pack.next}"), "  ")
    for finding in pack.findings:
        yield from finding_lines(finding, "  ")


def _what(pack: PackHealth) -> str:
    from tracker.cli.output import whole
    from tracker.units import mah_from_ah

    return f"{pack.chemistry} {len(pack.cells)}S {whole(mah_from_ah(pack.rated_ah))} mAh"


def _holds(pack: PackHealth) -> str:
    """Return what the pack holds, or why that is not known."""
    from tracker.cli.output import percent, quantity, whole
    from tracker.domain.results import Estimate, NotEnough
    from tracker.units import mah_from_ah

    if isinstance(pack.capacity_ah, NotEnough):
        return f"what it holds is not known: {pack.capacity_ah.why}"
    share = f", {quantity(pack.health, percent)} % of rated" if isinstance(pack.health, Estimate) else ""
    weakest = ", by its weakest cell" if len(pack.cells) > 1 else ""
    return f"holds {quantity(pack.capacity_ah, lambda ah: whole(mah_from_ah(ah)))} mAh{share}{weakest}"


def _cell_lines(pack: PackHealth) -> list[str]:
    """Return a row a cell of whatever is known of any cell."""
    from tracker.cli.output import Column, quantity, table, whole
    from tracker.domain.results import Estimate
    from tracker.units import mah_from_ah, mohm_from_ohm

    known = [
        ("holds mAh", [cell.capacity_ah for cell in pack.cells], lambda ah: whole(mah_from_ah(ah))),
        ("mΩ", [cell.resistance_ohm for cell in pack.cells], lambda ohm: f"{mohm_from_ohm(ohm):.1f}"),
        ("extra loss, % a month", [cell.excess_loss_per_month for cell in pack.cells], lambda share: f"{100 * share:.1f}"),
    ]
    shown = [each for each in known if any(isinstance(one, Estimate) for one in each[1])]
    if not shown:
        return []
    columns = [Column(title="cell", right=True), *(Column(title=title, right=True) for title, _, _ in shown), Column(title="")]
    rows = [
        [str(cell.cell), *(quantity(each[place], say) for _, each, say in shown), _remark(pack, cell)]
        for place, cell in enumerate(pack.cells)
    ]
    return table(columns, rows)


def _remark(pack: PackHealth, cell: CellHealth) -> str:
    """Return how a cell stands out from the others."""
    from tracker.cli.output import percent
    from tracker.domain.results import Estimate

    said = []
    if cell.cell == pack.weakest_cell:
        ratio = pack.weakest_ratio
        said.append(f"weakest, {percent(1 - ratio.value)} % less" if isinstance(ratio, Estimate) else "weakest")
    if cell.cell in pack.restless_cells:
        said.append("restless")
    return ", ".join(said)


def _cycles(cycles: float) -> str:
    return f"{cycles:,.0f}" if cycles >= 100 else f"{cycles:.1f}"
