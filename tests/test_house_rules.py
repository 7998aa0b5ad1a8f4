"""The rules of the house that a machine can see: the top level, sizes, words, test folders."""

from __future__ import annotations

import re
from fnmatch import fnmatch
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
TOP_LEVEL = {"README.md", "DEVELOPERS.md", "pyproject.toml", "tracker", "dashboard", "tests", "sample_data"}
TREES = ("tracker", "dashboard", "tests", "sample_data")
MOST_LINES = 500
TEXT = {".py", ".md", ".toml", ".csv", ".js", ".css", ".html", ".mako", ".svg", ".webmanifest"}

UNWANTED = (
    r"(?<![\w.])/(work|tmp|root|home/\w+|Users/\w+)/",  # a folder of one machine
    r"tran{1}script",
    r"shared/desi{1}gn",
    r"\bissue #?\d",
    r"\b(to{1}do|fix{1}me|x{3}|lor{1}em)\b",
)
"""What does not belong into files made to stay; written so that this file does not hold it either."""


def project_files() -> list[Path]:
    """Every text file of the project, also one not committed yet."""
    found = [path for tree in TREES for path in (ROOT / tree).rglob("*") if path.suffix in TEXT and "__pycache__" not in path.parts]
    found += [ROOT / "README.md", ROOT / "DEVELOPERS.md", ROOT / "pyproject.toml", *(p for p in (ROOT / ".ci").iterdir() if p.is_file())]
    return sorted(found)


def short(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


def test_the_top_level_is_as_stated() -> None:
    ignored = [line.rstrip("/") for line in (ROOT / ".gitignore").read_text("utf-8").splitlines()]
    names = {entry.name for entry in ROOT.iterdir() if not entry.name.startswith(".")}
    assert {name for name in names if not any(fnmatch(name, pattern) for pattern in ignored)} == TOP_LEVEL


def test_there_are_files_to_look_at() -> None:
    """A wrong path would let every test below pass."""
    found = {short(path) for path in project_files()}
    assert {"tracker/errors.py", "dashboard/app.py", "tests/test_house_rules.py", "sample_data/__init__.py", ".ci/run"} <= found


def test_no_module_is_too_long() -> None:
    lengths = {short(path): path.read_text("utf-8").count("\n") for path in project_files() if path.suffix == ".py"}
    assert {path: lines for path, lines in lengths.items() if lines > MOST_LINES} == {}


@pytest.mark.parametrize("pattern", UNWANTED)
def test_no_file_holds_unwanted_words(pattern: str) -> None:
    unwanted = re.compile(pattern, re.IGNORECASE)
    places = [
        f"{short(path)}:{number}: {line.strip()[:100]}"
        for path in project_files()
        for number, line in enumerate(path.read_text("utf-8").splitlines(), 1)
        if unwanted.search(line)
    ]
    assert places == []


def test_measured_data_are_named_in_tests_alone() -> None:
    named = re.compile(r"shared[/\"', ]+data")
    outside = [short(path) for path in project_files() if not short(path).startswith("tests/") and named.search(path.read_text("utf-8"))]
    assert outside == []


def test_every_folder_with_tests_is_a_package() -> None:
    """Otherwise two test files of one name in different folders shadow each other."""
    folders = {path.parent for path in (ROOT / "tests").rglob("*.py")}
    assert len(folders) > 5
    assert [short(folder) for folder in sorted(folders) if not (folder / "__init__.py").is_file()] == []


def test_every_test_file_is_found_by_its_name() -> None:
    """A file with tests that is not called test_… would never run."""
    strays = [
        short(path)
        for path in (ROOT / "tests").rglob("*.py")
        if not path.name.startswith("test_") and re.search(r"^(async )?def test_", path.read_text("utf-8"), re.MULTILINE)
    ]
    assert strays == []
