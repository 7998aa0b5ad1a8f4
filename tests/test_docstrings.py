"""Docstrings of the formulas are a contract: parameter names as in the signature, a unit on every number, a reference."""

from __future__ import annotations

import importlib
import inspect
import pkgutil
import re
from collections.abc import Callable, Iterator
from typing import Any

import pytest

import tracker.estimators
import tracker.physics

NUMERIC = re.compile(r"\b(float|int|ArrayLike|FloatArray|NDArray)\b")
UNIT = re.compile(r"\[[^\[\]]+\]\.?$")
HEADING = re.compile(r"^(\w[\w ]*)\n-{3,}$", re.MULTILINE)

Function = Callable[..., Any]


def public_functions() -> Iterator[tuple[str, Function]]:
    """Public functions, and public methods of public classes, defined in the two rooms of formulas."""
    for room in (tracker.physics, tracker.estimators):
        for info in pkgutil.walk_packages(room.__path__, f"{room.__name__}."):
            module = importlib.import_module(info.name)
            for name, thing in vars(module).items():
                if name.startswith("_") or getattr(thing, "__module__", None) != info.name:
                    continue
                if inspect.isfunction(inspect.unwrap(thing)):
                    yield f"{info.name}.{name}", inspect.unwrap(thing)
                elif inspect.isclass(thing):
                    for method_name, method in vars(thing).items():
                        if inspect.isfunction(method) and not method_name.startswith("_"):
                            yield f"{info.name}.{name}.{method_name}", method


def parameters(function: Function) -> list[str]:
    return [
        str(each).split(":")[0].split(" ")[0]
        for name, each in inspect.signature(function).parameters.items()
        if name not in ("self", "cls")
    ]


def sections(function: Function) -> dict[str, str]:
    """The parts of a docstring by their headings."""
    pieces = HEADING.split(inspect.getdoc(function) or "")
    return dict(zip(pieces[1::2], pieces[2::2], strict=True))


def entries(section: str) -> list[tuple[str, str]]:
    """Head and description of each entry."""
    return [(head, text.strip()) for head, text in re.findall(r"^(\S.*)\n((?:(?: +.*)?\n?)*)", section.strip("\n") + "\n", re.MULTILINE)]


FUNCTIONS = {name: function for name, function in public_functions() if parameters(function)}
PHYSICS = {name: function for name, function in FUNCTIONS.items() if name.startswith("tracker.physics.")}


def test_there_are_functions_to_look_at() -> None:
    assert "tracker.physics.load_voltage.arrhenius_factor" in FUNCTIONS
    assert "tracker.physics.rest_voltage.RestCurve.soc" in FUNCTIONS


def test_a_docstring_is_read_rightly() -> None:
    def scaled(size_v: float, times: int) -> float:
        """Scale.

        Parameters
        ----------
        size_v : float
            Size, which may
            take two lines [V]
        times : int
            How often [1]

        Returns
        -------
        float
            Scaled size

        References
        ----------
        .. [1] None.
        """
        return size_v * times

    found = sections(scaled)
    assert list(found) == ["Parameters", "Returns", "References"]
    assert entries(found["Parameters"]) == [("size_v : float", "Size, which may\n    take two lines [V]"), ("times : int", "How often [1]")]
    assert without_unit(scaled) == ["float"]


def without_unit(function: Function) -> list[str]:
    """Heads of the entries that are numbers and end without a unit."""
    found = sections(function)
    every = [entry for part in ("Parameters", "Returns", "Yields") if part in found for entry in entries(found[part])]
    return [head for head, text in every if NUMERIC.search(head.split(" : ")[-1]) and not UNIT.search(text)]


@pytest.mark.parametrize("name", FUNCTIONS)
def test_the_parameters_are_those_of_the_signature(name: str) -> None:
    documented = [
        each.strip() for head, _ in entries(sections(FUNCTIONS[name]).get("Parameters", "")) for each in head.split(" : ")[0].split(",")
    ]
    # Two alike are described together, so the order may differ.
    assert sorted(documented) == sorted(parameters(FUNCTIONS[name]))


@pytest.mark.parametrize("name", FUNCTIONS)
def test_every_number_has_a_unit(name: str) -> None:
    assert without_unit(FUNCTIONS[name]) == []


@pytest.mark.parametrize("name", FUNCTIONS)
def test_what_comes_back_is_described(name: str) -> None:
    function = FUNCTIONS[name]
    if inspect.signature(function).return_annotation not in ("None", None, inspect.Signature.empty):
        assert sections(function).keys() & {"Returns", "Yields"}


@pytest.mark.parametrize("name", PHYSICS)
def test_a_formula_says_where_it_comes_from(name: str) -> None:
    """In the room of estimators, which only puts formulas together, a reference is not asked for."""
    assert sections(PHYSICS[name]).get("References", "").strip()
