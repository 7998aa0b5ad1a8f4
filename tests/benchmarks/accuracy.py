"""How good the estimates are, row by row of what is required of them.

Run with: python -m tests.benchmarks.accuracy [--quick] [--figure FILE.svg]

Judged on packs simulated with a physics-based cell library and published parameters, and on measured cells where those lie
beside the checkout. Estimates are those as known now, from the whole history, unless a row says "then": only what came
before the run, and the run itself.
"""

from __future__ import annotations

import argparse
import math
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from tests.benchmarks import accuracy_groups as groups
from tests.benchmarks.reliability_figure import reliability_figure
from tests.tracker.estimators.cell_tables import CELLS, table
from tests.tracker.estimators.judging import NOMINAL, Alarms, Answers, Naming, joined
from tests.tracker.measured import MEASURED, Score
from tests.tracker.measured_histories import RATED_AH, ageing_history
from tracker.estimators.assess import assess_packs

HELD = (0.85, 0.95)
"""Share of the 90 % intervals that have to hold the truth."""
ENOUGH = 200
"""Runs that a share is judged on."""
NOT_YET = "not estimated"


@dataclass(frozen=True, kw_only=True, slots=True)
class Row:
    """One line of the table."""

    quantity: str
    evidence: str
    required: str
    measured: str
    held: str = ""
    sample: str = ""
    met: bool | None = None
    """None where nothing is required or nothing could be judged."""


HEADINGS = ("quantity", "evidence", "required", "measured", "90 % held", "n / packs / makes", "")
WIDTHS = (16, 48, 20, 34, 9, 18, 4)


def print_row(*texts: str) -> None:
    """Print one line of the table."""
    print("  ".join(text.ljust(width) for text, width in zip(texts, WIDTHS, strict=True)).rstrip(), flush=True)


def show(row: Row) -> None:
    """Print one row."""
    met = {True: "pass", False: "MISS", None: ""}[row.met]
    print_row(row.quantity, row.evidence, row.required, row.measured, row.held, row.sample, met)


def percent(value: float, digits: int = 0) -> str:
    """Write a share in percent."""
    return "–" if math.isnan(value) else f"{100 * value:.{digits}f} %"


def sample_words(found: Answers) -> str:
    """How much a row rests on."""
    return f"{len(found.each)} / {found.packs} / {len(found.makes)}"


def charge_row(evidence: str, found: Answers, limit: float | None) -> Row:
    """Row of a charge used against its limit, in rated capacity."""
    unsaid = f", {found.unsaid} unsaid" if found.unsaid else ""
    return Row(
        quantity="charge used",
        evidence=evidence,
        required="" if limit is None else f"RMS ≤ {100 * limit:g} % of rated",
        measured=f"RMS {percent(found.rms, 2)}, mean {percent(found.mean, 2)}{unsaid}",
        held=percent(found.held),
        sample=sample_words(found),
        met=None if limit is None else found.rms <= limit,
    )


def held_row(name: str, found: Answers) -> Row:
    """Row of the share of 90 % intervals that hold the truth."""
    return Row(
        quantity="90 % intervals",
        evidence=name,
        required="85…95 % hold",
        measured=f"{percent(found.held, 1)} hold",
        sample=sample_words(found),
        met=HELD[0] <= found.held <= HELD[1] if len(found.each) >= ENOUGH else None,
    )


def charge_groups(sample: groups.Sample) -> Iterator[tuple[str, Answers, float | None]]:
    """Yield each kind of evidence for the charge used, its estimates, and its limit."""
    yield "charger's count with voltages", groups.counted(sample), 0.013
    yield "cell voltages after 3 counted, pouch", groups.taught(sample, groups.POUCH), 0.04
    yield "cell voltages after 3 counted, pouch, then", groups.taught(sample, groups.POUCH, then=True), 0.04
    yield "cell voltages after 3 counted, cylinder", groups.taught(sample, groups.CYLINDER), 0.06
    yield "cell voltages after 3 counted, cylinder, then", groups.taught(sample, groups.CYLINDER, then=True), 0.06
    never = groups.never_counted(sample)
    yield "cell voltages, never counted", never, 0.08
    yield "  makes in no chemistry file", never.only(lambda one: one.make in groups.IN_NO_FILE), None
    yield "pack totals, never counted", groups.never_counted(sample, totals=True), None
    yield "pack totals after 4 counted", groups.taught_totals(sample), 0.04
    yield "pack totals after 4 counted, then", groups.taught_totals(sample, then=True), 0.04


MAIN_GROUPS = {
    "charger's count with voltages": "counted",
    "cell voltages after 3 counted, pouch": "after 3 counted, pouch",
    "cell voltages after 3 counted, cylinder": "after 3 counted, cylinder",
    "cell voltages, never counted": "never counted",
    "pack totals after 4 counted": "totals after 4 counted",
}
"""Rows that the intervals are judged over, and what they are called in the figure."""


def naming_rows(sample: groups.Sample) -> Iterator[Row]:
    """Yield the rows of the weakest and the restless cell."""
    naming, ratio = groups.weakest(sample)
    yield from _naming("weakest cell", "12 % weaker, 8 counted runs with cell voltages", naming)
    judged = bool(ratio.each)
    yield Row(
        quantity="",
        evidence="  its capacity over its neighbours'",
        required="within 3 %",
        measured=f"RMS {percent(ratio.rms, 2)}, {percent(ratio.within(0.03))} within 3 %" if judged else NOT_YET,
        held=percent(ratio.held),
        sample=sample_words(ratio),
        met=ratio.rms <= 0.03 if judged else None,
    )
    yield from _naming("restless cell", "loses 8 % a month beyond its neighbours", groups.restless(sample))


def _naming(quantity: str, evidence: str, naming: Naming) -> Iterator[Row]:
    judged = naming.packs > 0
    share = naming.right / naming.packs if judged else float("nan")
    required = "named correctly" if quantity == "weakest cell" else ""
    measured = f"{naming.right} right, {naming.wrong} wrong" if judged else NOT_YET
    met = share >= 0.95 and naming.wrong == 0 if judged and required else None
    yield Row(
        quantity=quantity, evidence=evidence, required=required, measured=measured, sample=f"– / {naming.packs} / {len(CELLS)}", met=met
    )
    named = f"named in {naming.named_in_even}" if naming.even_packs else NOT_YET
    yield Row(quantity="", evidence="  packs that have none", required="", measured=named, sample=f"– / {naming.even_packs} / {len(CELLS)}")


def floor_row(words: str, found: Alarms) -> Row:
    """Row of the cells driven below their floor."""
    near = f", near {found.near_graded}/{found.near}"
    return Row(
        quantity="below its floor",
        evidence=f"cells, {words}",
        required="≥ 95 %, false ≤ 5 %",
        measured=f"{percent(found.hit_share, 1)}, false {percent(found.false_share, 1)}{near}",
        sample=f"{found.below}+{found.above} cells",
        met=found.hit_share >= 0.95 and found.false_share <= 0.05,
    )


def capacity_row(found: Answers) -> Row:
    """Row of the capacity of each cell."""
    judged = bool(found.each)
    return Row(
        quantity="capacity",
        evidence="each cell, fresh, 12 deep counted runs",
        required="within 2 %",
        measured=f"RMS {percent(found.rms, 2)}, {percent(found.within(0.02))} within 2 %" if judged else NOT_YET,
        held=percent(found.held),
        sample=sample_words(found),
        met=found.rms <= 0.02 if judged else None,
    )


def slip_rows(words: str, found: groups.Slipped, limit: float | None) -> Iterator[Row]:
    """Yield the rows of histories with slips of the pen."""
    yield charge_row(f"{words}, 5 % slips: sound runs", found.sound, limit)
    yield charge_row("  runs touched by a slip", found.touched, None)
    for kind, (seen, caught) in sorted(found.aside.slips.items()):
        yield Row(quantity="slips set aside", evidence=f"  {kind}", required="", measured=f"{caught} of {seen}")
    aside = found.aside
    yield Row(
        quantity="",
        evidence="  sound runs in which something was doubted",
        required="",
        measured=f"{aside.sound_doubted} of {aside.sound_runs}",
    )


def print_makes(found: dict[str, Answers]) -> None:
    """Print each kind of evidence make by make."""
    print(
        "\nCharge used, make by make: RMS in % of rated (share of 90 % intervals that hold the truth); * its curve is in no chemistry file"
    )
    print(" " * 46 + "".join(f"{cell.parameters + ('' if cell.in_chemistry_file else '*'):>15s}" for cell in CELLS))
    for name, answers in found.items():
        cells = [answers.of(cell.parameters) for cell in CELLS]
        print(f"{name:46s}" + "".join(f"{100 * one.rms:9.2f} ({percent(one.held)[:-2]:>3s})" if one.each else " " * 15 for one in cells))


def print_reliability(found: dict[str, Answers]) -> dict[str, list[float]]:
    """Print nominal against achieved, and return it."""
    print("\nReliability: share of central intervals, from value and standard uncertainty, that hold the truth")
    print(f"{'nominal':46s}" + "".join(f"{percent(p):>8s}" for p in NOMINAL) + f"{'n':>8s}")
    lines: dict[str, list[float]] = {}
    for name, answers in found.items():
        lines[name] = [answers.achieved(p) for p in NOMINAL]
        print(f"{name:46s}" + "".join(f"{percent(value):>8s}" for value in lines[name]) + f"{len(answers.each):8d}")
    return lines


def measured_rows() -> Iterator[Row]:
    """Yield the rows of the measured cells."""
    for cell in ("B0005", "B0007"):
        for words, counted, start, end in (
            ("counted throughout", None, 0, None),
            ("6 counted, the next 30 by voltage", 6, 6, 36),
            ("6 counted, all others by voltage", 6, 6, None),
        ):
            history, truth = ageing_history(cell, counted)
            found = Score(assess_packs([history], {}, {})[0].runs[start:end], truth, {cell: RATED_AH})
            yield Row(
                quantity="charge used",
                evidence=f"{cell}: {words}",
                required="",
                measured=f"RMS {percent(found.rms, 2)}, mean {percent(found.mean, 2)}",
                held=percent(found.coverage),
                sample=f"{len(found.errors)} / 1 / 1",
            )


def run(sample: groups.Sample, figure: Path | None) -> None:
    """Print all tables, and draw the figure."""
    print_row(*HEADINGS)
    print_row(*("-" * width for width in WIDTHS))
    everything: dict[str, Answers] = {}
    for name, answers, limit in charge_groups(sample):
        show(charge_row(name, answers, limit))
        everything[name] = answers
    main = {short: everything[name] for name, short in MAIN_GROUPS.items()}
    for name, answers in {"over all of them": joined(main.values()), **main}.items():
        show(held_row(name, answers))
    for row in naming_rows(sample):
        show(row)
    for words in groups.FLOORS:
        alarmed = groups.floor_alarms(sample, words)
        show(floor_row(words, alarmed))
    show(capacity_row(groups.capacity(sample)))
    slips = groups.slipped(sample)
    for row in slip_rows("counted", slips, 0.013):
        show(row)
    for row in slip_rows("voltages after 3 counted", groups.slipped(sample, voltages_alone=True), None):
        show(row)
    print("\nMeasured cells (B. Saha, K. Goebel 2007, Battery Data Set, NASA Prognostics Data Repository)")
    if MEASURED.is_dir():
        for row in measured_rows():
            show(row)
    else:
        print("left out: the measured data is not beside this checkout")
    print_makes(everything)
    lines = print_reliability({**main, "counted, 5 % slips, sound runs": slips.sound})
    if figure is not None:
        figure.write_text(reliability_figure(NOMINAL, lines), encoding="utf-8")
        print(f"\ndrawn: {figure}")


def main() -> None:
    """Make the packs, print the tables."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true", help="fewer packs of each make")
    parser.add_argument("--figure", type=Path, help="draw the reliability figure into this SVG file")
    options = parser.parse_args()
    started = time.perf_counter()
    for cell in CELLS:
        table(cell.parameters)
    tabulated = time.perf_counter()
    run(groups.QUICK if options.quick else groups.Sample(), options.figure)
    print(
        f"\n{tabulated - started:.0f} s for the tables of {len(CELLS)} published cells, {time.perf_counter() - tabulated:.0f} s for the rest"
    )


if __name__ == "__main__":
    main()
