"""README and DEVELOPERS say what is so: every command, option, dependency and quantity of the code is in them."""

from __future__ import annotations

import argparse
import dataclasses
import re
import shlex
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

from tracker import chemistry
from tracker.cli.main import build_parser
from tracker.domain import bench, controller, divider, health, label, pack, planning, results, session, trace

ROOT = Path(__file__).resolve().parents[1]
README = (ROOT / "README.md").read_text("utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text("utf-8")
RECORDS = (pack.Pack, controller.Controller, controller.Vehicle, session.Run, session.Charge, session.BenchReading)
RESULTS = (
    results.Estimate,
    results.EvidenceVote,
    results.CellDepth,
    results.PackState,
    results.PackRecord,
    bench.Meter,
    bench.BenchRamp,
    bench.BenchCrossing,
    bench.UncertaintyPart,
    bench.BenchResult,
    divider.DividerTask,
    divider.PartChoice,
    divider.PlaceOption,
    divider.TripLimits,
    divider.DriftLimits,
    divider.DividerPlan,
    planning.CutoffTask,
    planning.PlannedLoad,
    planning.CutoffPoint,
    planning.CutoffChoice,
    planning.PresentCutoff,
    planning.PresentState,
    planning.CutoffPlan,
    trace.Trace,
    trace.TracePreview,
    trace.TraceNote,
    trace.TraceSummary,
    label.CellVoltages,
)
LEARNED = (health.CellHealth, health.HealthPoint, health.OwnCurve, health.Outlook, health.PackHealth)
NUMBERS = re.compile(r"\b(float|Floats|Volts|Quantity)\b")


def commands(parser: argparse.ArgumentParser, before: str = "pack-tracker") -> Iterator[tuple[str, argparse.ArgumentParser]]:
    """Every command that does something, with the words that call it."""
    below = [action for action in parser._actions if isinstance(action, argparse._SubParsersAction)]
    if not below:
        yield before, parser
    for action in below:
        for name, child in action.choices.items():
            yield from commands(child, f"{before} {name}")


COMMANDS = dict(commands(build_parser()))
SHELL_LINES = [
    line.strip()
    for block in re.findall(r"```sh\n(.*?)```", README, re.DOTALL)
    for line in block.splitlines()
    if line.strip() and line[0] != "#"
]


def test_the_readme_begins_with_one_paragraph_that_states_the_job() -> None:
    title, paragraph, rest = README.split("\n\n", 2)
    assert title.startswith("# ")
    assert 200 < len(paragraph) < 900
    for word in ("pack", "cell", "run", "too deep"):
        assert word in paragraph
    assert rest


def test_set_up_and_demo_and_set_up_and_tests_are_one_line_each() -> None:
    lines = [line for line in SHELL_LINES if line.startswith("python3 -m venv")]
    assert len(lines) == 2
    demo, tests = lines
    assert demo.endswith("pack-tracker demo")
    # What .ci/run looks for and runs.
    assert re.findall(r"^ *(python3 -m venv .* && [^ ]*pytest) *$", README, re.MULTILINE) == [tests]


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_is_in_the_readme(command: str) -> None:
    assert command in README


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_explains_itself_with_an_example(command: str) -> None:
    parser = COMMANDS[command]
    assert parser.description
    assert f"  {command}" in (parser.epilog or "")
    assert [action.dest for action in parser._actions if not action.help] == []


@pytest.mark.parametrize("line", [line for line in SHELL_LINES if line.startswith("pack-tracker")])
def test_every_command_line_in_the_readme_is_accepted(line: str) -> None:
    _, *words = shlex.split(line, comments=True)
    assert callable(build_parser().parse_args(words).run)


@pytest.mark.parametrize("parser", COMMANDS.values(), ids=COMMANDS.keys())
def test_every_example_in_the_help_is_accepted(parser: argparse.ArgumentParser) -> None:
    examples = [line.strip() for line in (parser.epilog or "").splitlines() if line.startswith("  pack-tracker")]
    assert examples
    for line in examples:
        _, *words = shlex.split(line.split(" > ")[0], comments=True)
        assert callable(build_parser().parse_args(words).run)


def test_every_chemistry_is_in_the_readme() -> None:
    assert [key for key in chemistry.names() if f"`{key}`" not in README] == []


def test_every_page_is_in_the_readme() -> None:
    from dashboard.pages import PAGES

    assert [page.TITLE for page in PAGES if f"**{page.TITLE}**" not in README] == []


def test_every_dependency_has_its_reason_in_the_developers_file() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    wanted = [*project["dependencies"], *(each for extra in project["optional-dependencies"].values() for each in extra)]
    names = {re.split(r"[\[<>=]", each)[0] for each in wanted}
    section = DEVELOPERS.split("\n## Why each dependency", 1)[1].split("\n## ", 1)[0]
    assert len(names) > 10
    assert sorted(name for name in names if f"`{name}`" not in section) == []


def quantities() -> list[str]:
    """Every number with a meaning that a record or a result carries."""
    fields = {
        field.name for kind in (*RECORDS, *RESULTS, *LEARNED) for field in dataclasses.fields(kind) if NUMBERS.search(str(field.type))
    }
    return sorted(fields)


@pytest.mark.parametrize("name", quantities())
def test_every_quantity_is_in_the_glossary_once(name: str) -> None:
    glossary = DEVELOPERS.split("\n## Glossary", 1)[1].split("\n## ", 1)[0]
    first_cells = [line.split("|")[1] for line in glossary.splitlines() if line.startswith("| `")]
    assert sum(f"`{name}`" in cell for cell in first_cells) == 1


@pytest.mark.parametrize("document", ["README.md", "DEVELOPERS.md"])
def test_every_file_named_in_a_document_exists(document: str) -> None:
    """A walk-through that leads to a file that has moved is worse than none."""
    text = (ROOT / document).read_text("utf-8")
    named = re.findall(r"`((?:tracker|dashboard|tests|sample_data|\.ci|\.github)/[\w./-]*)`", text)
    named += [target for target in re.findall(r"\]\(([\w./-]+)\)", text) if not target.startswith("http")]
    assert named
    assert sorted({name for name in named if not (ROOT / name).exists()}) == []
