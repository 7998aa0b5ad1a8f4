"""How long a cutoff plan takes: the command from a cold start, the plan alone, and where its time goes.

Run with: python -m tests.benchmarks.planning_speed
"""

from __future__ import annotations

import cProfile
import os
import pstats
import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from time import perf_counter, process_time

from tests.tracker.estimators.planned_packs import controller_of, known_closely, pack_of, planned, setup_for
from tests.tracker.small_logbook import write
from tracker.estimators.cutoff_scenes import DRAWS

COMMAND = "import sys; from tracker.cli.main import main; sys.exit(main(sys.argv[1:]))"
IMPORTS = "import tracker.cli.main, tracker.services, tracker.services.planning"
TIMES = 5
MOST = 12
"""Functions shown of where the time goes."""


def main() -> None:
    """Measure and print."""
    with tempfile.TemporaryDirectory() as folder:
        where = Path(folder)
        database = {"PACK_TRACKER_DATABASE": f"sqlite:///{where / 'logbook.sqlite3'}", "XDG_STATE_HOME": folder, "XDG_DATA_HOME": folder}
        run("import", *map(str, write(where / "small")), settings=database)
        print(f"From a cold start, a process each, best of {TIMES}:")
        timed("python alone", lambda: python("pass", settings=database))
        timed("with all it imports", lambda: python(IMPORTS, settings=database))
        timed("cutoff, 25 C", lambda: run("cutoff", "Tug A", "Pond tug", "--json", settings=database))
        timed("cutoff, 0 C", lambda: run("cutoff", "Tug A", "Pond tug", "--pack-c", "0", "--json", settings=database))
    pack = pack_of(series=3)
    setup = setup_for(pack, states=known_closely(pack), controllers=[controller_of("Left", 9.9), controller_of("Right", 7.6)])
    print(f"The plan alone, {DRAWS} versions of three cells, two controllers, best of {TIMES}:")
    timed("25 C", lambda: planned(setup, draws=DRAWS))
    timed("0 C", lambda: planned(setup, pack_c=0.0, draws=DRAWS))
    timed("25 C, no controllers", lambda: planned(setup_for(pack, states=known_closely(pack)), draws=DRAWS))
    with cProfile.Profile() as profile:
        planned(setup, draws=DRAWS)
    pstats.Stats(profile).strip_dirs().sort_stats("tottime").print_stats(MOST)


def run(*words: str, settings: dict[str, str]) -> None:
    """Run the command in a process of its own."""
    python(COMMAND, *words, settings=settings)


def python(text: str, *words: str, settings: dict[str, str]) -> None:
    """Run a line of Python in a process of its own."""
    environment = {**os.environ, **settings}
    subprocess.run([sys.executable, "-c", text, *words], check=True, capture_output=True, env=environment)


def timed(what: str, action: Callable[[], object]) -> None:
    """Print the shortest time of several tries, and what of it this process spent."""
    times, spent = [], []
    for _ in range(TIMES):
        start, start_spent = perf_counter(), process_time()
        action()
        times.append(perf_counter() - start)
        spent.append(process_time() - start_spent)
    print(f"  {what}: {min(times):.2f} s, {min(spent):.2f} s of it spent here")


if __name__ == "__main__":
    main()
