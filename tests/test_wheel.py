"""The built wheel alone, in an empty environment and away from the checkout, does the main job.

Round trip: what a person writes down goes in as files and comes out as an answer. Of what is installed where the tests
run, the environment is lent the dependencies the wheel asks for and those they ask for, and nothing else.
"""

from __future__ import annotations

import json
import os
import shutil
import signal
import socket
import subprocess
import sys
import sysconfig
import time
import urllib.error
import urllib.request
import venv
import zipfile
from collections.abc import Iterable
from dataclasses import dataclass
from email.parser import Parser
from importlib.metadata import distribution
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

pytestmark = pytest.mark.long

ROOT = Path(__file__).resolve().parents[1]
WINDOWS = os.name == "nt"
STOP_WITHIN_S = 30
ANSWER_WITHIN_S = 120

LOGBOOK = {
    "packs.csv": "pack,chemistry,series,capacity_mah\nReed,lipo,2,4000\n",
    "vehicles.csv": "vehicle,controllers\nMarsh skiff,Skiff-front\n",
    "controllers.csv": "controller,cutoff_mode,cutoff_v\nSkiff-front,pack_v,6.4\n",
    "runs.csv": (
        "pack;vehicle;started_at;run_min;rest_before_min;before_v;after_v;rest_after_min\n"
        "Reed;Marsh skiff;2026-03-01T10:00+01:00;14;600;4,19 4,19;3,78 3,71;60\n"
        "Reed;Marsh skiff;2026-03-08T10:00+01:00;9;600;8,38;7,86;45\n"
    ),
    "charges.csv": "pack,finished_at,put_back_mah,goal\nReed,2026-03-02T20:00+01:00,2650,full\n",
}


@dataclass(frozen=True)
class Installed:
    """The tool as installed from the wheel, and an empty folder to stand in."""

    program: Path
    python: Path
    folder: Path

    @property
    def environment(self) -> dict[str, str]:
        """What a person's shell would hand on, with nothing that leads back to the checkout."""
        ours = ("PYTHONPATH", "PYTHONHOME", "PYTHONDONTWRITEBYTECODE", "VIRTUAL_ENV", "PACK_TRACKER_DATABASE")
        kept = {name: value for name, value in os.environ.items() if name not in ours}
        return kept | {"HOME": str(self.folder), "XDG_DATA_HOME": str(self.folder / "data"), "PYTHONNOUSERSITE": "1"}

    def run(self, *words: str) -> str:
        """What a command prints; it must succeed."""
        done = subprocess.run(
            [self.program, *words], cwd=self.folder, env=self.environment, capture_output=True, encoding="utf-8", timeout=300, check=False
        )
        assert done.returncode == 0, f"{words}: {done.stderr}{self.faults()}"
        assert "Traceback" not in done.stderr
        return done.stdout

    def faults(self) -> str:
        """What the program kept of its own faults, for whoever reads why a test failed."""
        return "".join(f"\n{path.read_text('utf-8')}" for path in self.folder.rglob("pack-tracker-*.log"))


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Installed:
    folder = tmp_path_factory.mktemp("wheel")
    wheel = build_wheel(folder)
    venv.create(folder / "empty", with_pip=False)
    scripts = folder / "empty" / ("Scripts" if WINDOWS else "bin")
    python = scripts / ("python.exe" if WINDOWS else "python")
    pip("--python", str(python), "install", "--no-deps", "--no-compile", str(wheel))
    lend(asked_for(wheel), Path(sysconfig.get_path("purelib", vars={"base": str(folder / "empty")})))
    away = folder / "away"
    away.mkdir()
    return Installed(scripts / ("pack-tracker.exe" if WINDOWS else "pack-tracker"), python, away)


def build_wheel(folder: Path) -> Path:
    """Built from a copy, so that nothing left over from earlier builds in the checkout can be in it."""
    source = folder / "source"
    source.mkdir()
    for name in ("tracker", "dashboard", "sample_data"):
        shutil.copytree(ROOT / name, source / name, ignore=shutil.ignore_patterns("__pycache__"))
    for name in ("pyproject.toml", "README.md"):
        shutil.copy(ROOT / name, source)
    pip("wheel", "--no-deps", "--wheel-dir", str(folder), str(source))
    (wheel,) = folder.glob("pack_health_tracker-*.whl")
    return wheel


def asked_for(wheel: Path) -> list[str]:
    """The distributions a wheel needs here, and those that these need."""
    with zipfile.ZipFile(wheel) as held:
        [place] = [name for name in held.namelist() if name.endswith(".dist-info/METADATA")]
        wanted = Parser().parsestr(held.read(place).decode()).get_all("Requires-Dist", [])
    found: dict[str, None] = {}
    left = [(Requirement(line), "") for line in wanted]
    while left:
        wish, extra = left.pop()
        if wish.marker is not None and not wish.marker.evaluate({"extra": extra}):
            continue
        name = canonicalize_name(wish.name)
        known = name in found
        found[name] = None
        lines = [Requirement(line) for line in distribution(name).requires or ()]
        left += [(line, each) for line in lines for each in wish.extras] + ([] if known else [(line, "") for line in lines])
    return list(found)


def lend(distributions: Iterable[str], site: Path) -> None:
    """Put them into an environment, with the compiled code they have here."""
    for name in distributions:
        lent = distribution(name)
        tops = {file.parts[0] for file in lent.files or () if file.parts[0] not in {"..", "__pycache__"}}
        for top in tops:
            source = Path(str(lent.locate_file(top)))
            if WINDOWS:
                shutil.copytree(source, site / top, dirs_exist_ok=True) if source.is_dir() else shutil.copy(source, site)
            elif not (site / top).exists():
                (site / top).symlink_to(source)


def pip(*words: str) -> None:
    """Run the pip that is here; with `--python` first it installs for another Python, which then needs none of its own."""
    done = subprocess.run([sys.executable, "-m", "pip", *words], capture_output=True, encoding="utf-8", check=False)
    assert done.returncode == 0, done.stdout + done.stderr


def free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as listener:
        port: int = listener.getsockname()[1]
        return port


def test_nothing_comes_from_the_checkout(installed: Installed) -> None:
    where = "import tracker, dashboard, sample_data; print(tracker.__path__[0], dashboard.__path__[0], sample_data.__path__[0], sep='\\n')"
    done = subprocess.run(
        [installed.python, "-c", where], cwd=installed.folder, env=installed.environment, capture_output=True, encoding="utf-8", check=True
    )
    for path in done.stdout.splitlines():
        assert Path(path).is_relative_to(installed.python.parents[1]), path


def test_a_logbook_goes_in_and_the_depth_of_each_cell_comes_out(installed: Installed) -> None:
    logbook = installed.folder / "logbook"
    logbook.mkdir()
    for name, text in LOGBOOK.items():
        (logbook / name).write_text(text, "utf-8")
    database = f"sqlite:///{installed.folder / 'reed.sqlite3'}"
    installed.run("--database", database, "import", str(logbook))
    document = json.loads(installed.run("--database", database, "assess", "--json"))
    first, second = document["runs"]
    assert [run["pack"] for run in (first, second)] == ["Reed", "Reed"]
    # Both cells started alike and rested at 3.78 V and 3.71 V: cell 2 is the emptier one, and both are past the middle.
    left = [cell["soc_after"]["value"] for cell in first["cells"]]
    assert 0.1 < left[1] < left[0] < 0.5
    # The charger put back 2650 mAh, a little more than the run took, for the pack had not been quite full.
    assert first["used_mah"]["low"] < first["used_mah"]["value"] < first["used_mah"]["high"]
    assert 0.93 * 2650 < first["used_mah"]["value"] < 1.01 * 2650
    assert second["used_mah"]["value"] < first["used_mah"]["value"]
    assert json.loads(installed.run("--database", database, "packs", "--json"))["packs"][0]["pack"] == "Reed"


def test_the_same_logbook_comes_out_of_export(installed: Installed) -> None:
    logbook = installed.folder / "again"
    logbook.mkdir()
    (logbook / "packs.csv").write_text(LOGBOOK["packs.csv"], "utf-8")
    database = f"sqlite:///{installed.folder / 'again.sqlite3'}"
    installed.run("--database", database, "import", str(logbook))
    installed.run("--database", database, "export", str(installed.folder / "out"))
    written = "\n".join(path.read_text("utf-8-sig") for path in (installed.folder / "out").glob("*.csv"))
    assert "Reed" in written


def test_the_demo_answers_and_stops_cleanly(installed: Installed) -> None:
    port = free_port()
    demo = subprocess.Popen(
        [installed.program, "demo", "--no-browser", "--port", str(port)],
        cwd=installed.folder,
        env=installed.environment,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        encoding="utf-8",
    )
    try:
        health, page = wait_for(f"http://127.0.0.1:{port}/healthz", demo, installed), fetch(f"http://127.0.0.1:{port}/")
        assert health == 200
        assert page == 200
        demo.send_signal(signal.SIGTERM)
        output, _ = demo.communicate(timeout=STOP_WITHIN_S)
    finally:
        if demo.poll() is None:
            demo.kill()
            demo.wait()
    if not WINDOWS:  # there a process is ended from outside, without a chance to say so
        assert demo.returncode == 0, output
    assert "Traceback" not in output
    assert str(port) in output


def wait_for(url: str, process: subprocess.Popen[str], installed: Installed) -> int:
    """Status of the first answer."""
    until = time.monotonic() + ANSWER_WITHIN_S
    while time.monotonic() < until:
        if process.poll() is not None:
            pytest.fail(f"it stopped by itself: {process.communicate()[0]}{installed.faults()}")
        try:
            return fetch(url)
        except urllib.error.URLError:
            time.sleep(0.2)
    pytest.fail(f"{url} did not answer within {ANSWER_WITHIN_S} s")


def fetch(url: str) -> int:
    with urllib.request.urlopen(url, timeout=30) as answer:
        status: int = answer.status
        return status
