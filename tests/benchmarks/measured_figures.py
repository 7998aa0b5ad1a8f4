"""How well the charge used is found on measured cells, hot and cold.

Run with: python -m tests.benchmarks.measured_figures   (needs the measured data beside the checkout)
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from pathlib import Path

from tests.tracker.measured import MEASURED, Score, rows, write_ageing_logbook
from tests.tracker.measured_runs import COLD_C, cylinder_runs, pouch_runs, score
from tracker.services import open_services


def ageing() -> Iterator[tuple[str, Score]]:
    """Yield the four ageing cells with charger counts, together and one by one."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        truth = write_ageing_logbook(folder, rows("ageing_cylinder_2ah/cycle_summary.csv"))
        with open_services(f"sqlite:///{folder / 'logbook.sqlite'}") as services:
            services.exchange.import_files([folder / f"{kind}.csv" for kind in ("packs", "runs", "charges")])
            runs = services.runs.assess()
    rated = {item.run.pack: 2.0 for item in runs}
    yield "ageing 18650 (4 cells), charger counted", Score(runs, truth, rated)
    for cell in sorted(rated):
        yield f"  {cell}", Score([item for item in runs if item.run.pack == cell], truth, rated)


def singles() -> Iterator[tuple[str, Score]]:
    """Yield single runs: the cylinder warm and cold, the pouch cell at each temperature, counted and not."""
    for counted, words in ((True, "counted"), (False, "voltages only")):
        cylinder = cylinder_runs()
        yield f"18650 2.9 Ah, 22…26 °C, {words}", score([run for run in cylinder if run.temperature_c >= COLD_C], counted=counted)
        for run in cylinder:
            if run.temperature_c < COLD_C:
                yield f"18650 2.9 Ah, {run.temperature_c:.0f} °C, {words}", score([run], counted=counted)
        for temperature_c in (-10, 0, 10, 25, 40):
            runs = [run for run in pouch_runs(temperature_c) if run.from_full or not counted]
            yield f"pouch 5 Ah, {temperature_c} °C, {words}", score(runs, counted=counted)


def main() -> None:
    """Print the table."""
    if not MEASURED.is_dir():
        raise SystemExit("The measured data is not beside this checkout: there is nothing to compare with.")
    print(f"{'charge used, in % of rated':44s} {'n':>4s} {'RMS':>6s} {'mean':>6s} {'worst':>6s} {'held':>6s} {'unsaid':>6s}")
    for source in (ageing, singles):
        for label, found in source():
            figures = f"{100 * found.rms:6.2f} {100 * found.mean:6.2f} {100 * found.worst:6.2f} {100 * found.coverage:5.0f}%"
            print(f"{label:44s} {len(found.errors):4d} {figures} {found.unsaid:6d}")


if __name__ == "__main__":
    main()
