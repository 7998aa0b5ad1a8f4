"""Chemistries: what one kind of cell is like, each number with its unit, source and status.

A chemistry is one TOML file in ``tracker/chemistries``; nothing else has to change when one is added.
The loader refuses a file with a number that has no source, a voltage curve that does not rise with the
state of charge, or limits out of order, and names the entry at fault.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib import resources
from importlib.resources.abc import Traversable
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tracker.errors import ChemistryError

STATUSES = ("published", "derived", "common practice", "from memory")
"""published: printed in the source named. derived: computed here from the source named.
common practice: what the trade does, no source. from memory: recalled, to be checked before relying on it."""

FAMILIES = ("lithium", "nickel", "lead")

FULL_SOC = 0.93
"""A charge whose end voltage stands for at least this much filled the pack. Common practice."""

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Parameter:
    """A number from outside, with its unit and where it comes from."""

    value: float
    unit: str
    source: str
    status: str
    sd: float | None = None
    """Standard uncertainty or spread between makes, in the same unit, where known."""


@dataclass(frozen=True, slots=True, eq=False)
class MakeCurve:
    """Rested voltage of one make of cell against state of charge, at 25 °C."""

    name: str
    soc: FloatArray
    """Rising, 0…1."""
    voltage_v: FloatArray
    """Rising with `soc` [V]."""
    source: str
    status: str


@dataclass(frozen=True, slots=True, eq=False)
class SocFactor:
    """A factor on the resistance against state of charge; 1 at a state of charge of 0.5."""

    soc: FloatArray
    factor: FloatArray
    source: str
    status: str


PARAMETER_UNITS: dict[str, str] = {
    "nominal_v": "V",
    "full_v": "V",
    "end_v": "V",
    "floor_v": "V",
    "no_recharge_v": "V",
    "reserve_soc": "1",
    "storage_low_v": "V",
    "storage_high_v": "V",
    "charge_low": "degC",
    "charge_high": "degC",
    "discharge_low": "degC",
    "discharge_high": "degC",
    "charge_acceptance": "1",
    "self_discharge_per_month": "1",
    "resistance_capacity": "ohm Ah",
    "resistance_energy": "J/mol",
    "curve_spread_soc": "1",
    "hysteresis_v": "V",
    "temperature_slope": "V/K",
    "relaxation_v_per_c": "V h",
    "relaxation_soc_per_c": "h",
    "relaxation_fast_share": "1",
    "relaxation_fast": "s",
    "relaxation_slow": "s",
    "depth_half_cost": "1",
    "depth_fifth_cost": "1",
}
"""Every parameter a chemistry file must hold, and its unit."""


@dataclass(frozen=True, slots=True, eq=False)
class Chemistry:
    """One chemistry: curves of its makes and its parameters."""

    key: str
    title: str
    family: str
    makes: tuple[MakeCurve, ...]
    resistance_soc: SocFactor
    parameters: dict[str, Parameter]

    def __getitem__(self, name: str) -> float:
        """Value of the parameter called `name`, in the unit of `PARAMETER_UNITS`."""
        return self.parameters[name].value

    def looks_full(self, mean_cell_v: float) -> bool:
        """Whether a voltage at the end of a charge, still on the charger or rested a while, is that of a full cell.

        A rested full cell reads a little under its limit, some chemistries far under it, so its charge is looked at.
        """
        charge = np.mean([np.interp(mean_cell_v, make.voltage_v, make.soc) for make in self.makes])
        return bool(charge >= FULL_SOC)

    def is_one_cells_voltage(self, total_v: float, series: int) -> bool:
        """Whether a voltage written as the total of several cells can only be that of one cell."""
        return series > 1 and total_v / series < self["no_recharge_v"] and self["end_v"] <= total_v <= self["full_v"] + 0.05


def names() -> tuple[str, ...]:
    """Keys of the chemistries that come with the tool, in alphabetical order."""
    return tuple(sorted(entry.name.removesuffix(".toml") for entry in _folder().iterdir() if entry.name.endswith(".toml")))


@cache
def load(key: str) -> Chemistry:
    """Return the chemistry called `key`.

    Raises
    ------
    ChemistryError
        When there is none of that name, or its file is refused.
    """
    if key not in names():
        raise ChemistryError(f"chemistry '{key}' is not known; allowed are {', '.join(names())}.")
    return parse(_folder().joinpath(f"{key}.toml").read_text("utf-8"), key)


def load_file(path: Path) -> Chemistry:
    """Read and check a chemistry file that lies anywhere; its key is the file's name."""
    try:
        text = path.read_text("utf-8")
    except OSError as error:
        raise ChemistryError(f"{path} cannot be read: {error.strerror}; give the path of a chemistry file.") from error
    except UnicodeDecodeError as error:
        raise ChemistryError(f"{path} is not UTF-8 text; save it as UTF-8.") from error
    return parse(text, path.stem)


def parse(text: str, key: str) -> Chemistry:
    """Read a chemistry from the text of its file, refusing one that is incomplete or contradicts itself.

    Raises
    ------
    ChemistryError
        Names the file and the entry, what is wrong and what is allowed.
    """
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise ChemistryError(f"{key}.toml is not TOML: {error}.") from error
    reader = _Reader(key, raw)
    family = reader.text("family")
    if family not in FAMILIES:
        reader.refuse("family", f"is '{family}'; allowed are {', '.join(FAMILIES)}")
    parameters = {name: reader.parameter(name, unit) for name, unit in PARAMETER_UNITS.items()}
    reader.no_others({"title", "family", "make", "resistance_soc", *PARAMETER_UNITS})
    chemistry = Chemistry(
        key=key,
        title=reader.text("title"),
        family=family,
        makes=reader.makes(),
        resistance_soc=reader.soc_factor("resistance_soc"),
        parameters=parameters,
    )
    _check_order(chemistry, reader)
    return chemistry


def _folder() -> Traversable:
    return resources.files("tracker") / "chemistries"


class _Reader:
    """Takes entries out of a parsed file, naming the entry in every refusal."""

    def __init__(self, key: str, raw: dict[str, Any]) -> None:
        self.key = key
        self.raw = raw

    def refuse(self, entry: str, problem: str) -> None:
        raise ChemistryError(f"{self.key}.toml: {entry} {problem}.")

    def text(self, entry: str) -> str:
        value = self.raw.get(entry)
        if not isinstance(value, str) or not value.strip():
            raise ChemistryError(f"{self.key}.toml: {entry} is missing or empty; it must be some words.")
        return value.strip()

    def no_others(self, known: set[str]) -> None:
        for entry in self.raw:
            if entry not in known:
                self.refuse(entry, "is not an entry the tool knows; check its spelling")

    def parameter(self, entry: str, unit: str) -> Parameter:
        table = self._table(entry, self.raw.get(entry))
        value = self._number(entry, table.get("value"))
        if table.get("unit") != unit:
            self.refuse(entry, f"has unit '{table.get('unit')}'; it must be '{unit}'")
        self._only(entry, table, {"value", "unit", "source", "status", "sd"})
        source, status = self._origin(entry, table)
        sd = None if "sd" not in table else self._number(f"{entry}.sd", table["sd"])
        if sd is not None and sd <= 0:
            self.refuse(f"{entry}.sd", f"is {sd:g}; it must be above 0, or left out where it is not known")
        return Parameter(value, unit, source, status, sd)

    def makes(self) -> tuple[MakeCurve, ...]:
        entries = self.raw.get("make")
        if not isinstance(entries, dict) or not entries:
            raise ChemistryError(f"{self.key}.toml: make is missing; at least one curve [make.NAME] is needed.")
        return tuple(self._make(name, table) for name, table in entries.items())

    def _make(self, name: str, raw: object) -> MakeCurve:
        entry = f"make.{name}"
        table = self._table(entry, raw)
        self._only(entry, table, {"soc", "value", "unit", "source", "status"})
        if table.get("unit") != "V":
            self.refuse(entry, f"has unit '{table.get('unit')}'; it must be 'V'")
        soc = self._curve(f"{entry}.soc", table.get("soc"))
        voltage_v = self._curve(f"{entry}.value", table.get("value"))
        if len(soc) != len(voltage_v):
            self.refuse(entry, f"has {len(soc)} states of charge and {len(voltage_v)} voltages; they must be as many")
        for what, array in (("soc", soc), ("value", voltage_v)):
            if not np.all(np.diff(array) > 0):
                at = int(np.argmin(np.diff(array) > 0)) + 1
                self.refuse(
                    f"{entry}.{what}", f"does not rise at its entry {at + 1} ({array[at]:g}); each must be more than the one before"
                )
        if soc[0] < 0 or soc[-1] > 1:
            self.refuse(f"{entry}.soc", f"runs from {soc[0]:g} to {soc[-1]:g}; allowed is 0 to 1")
        return MakeCurve(name, soc, voltage_v, *self._origin(entry, table))

    def soc_factor(self, entry: str) -> SocFactor:
        table = self._table(entry, self.raw.get(entry))
        self._only(entry, table, {"soc", "value", "source", "status"})
        soc = self._curve(f"{entry}.soc", table.get("soc"))
        factor = self._curve(f"{entry}.value", table.get("value"))
        if len(soc) != len(factor) or not np.all(np.diff(soc) > 0) or np.any(factor <= 0):
            self.refuse(entry, "needs as many values as states of charge, rising states of charge and values above 0")
        at_half = float(np.interp(0.5, soc, factor))
        if abs(at_half - 1.0) > 0.005:
            self.refuse(entry, f"is {at_half:g} at a state of charge of 0.5; it must be 1 there")
        return SocFactor(soc, factor, *self._origin(entry, table))

    def _table(self, entry: str, raw: object) -> dict[str, Any]:
        if not isinstance(raw, dict):
            raise ChemistryError(f"{self.key}.toml: {entry} is missing; it must be a table with value, unit, source and status.")
        return raw

    def _only(self, entry: str, table: dict[str, Any], known: set[str]) -> None:
        for key in table:
            if key not in known:
                self.refuse(f"{entry}.{key}", f"is not known there; allowed are {', '.join(sorted(known))}")

    def _number(self, entry: str, raw: object) -> float:
        if isinstance(raw, bool) or not isinstance(raw, int | float) or not np.isfinite(raw):
            raise ChemistryError(f"{self.key}.toml: {entry} is {raw!r}; it must be a number.")
        return float(raw)

    def _curve(self, entry: str, raw: object) -> FloatArray:
        if not isinstance(raw, list) or len(raw) < 2:
            raise ChemistryError(f"{self.key}.toml: {entry} must be a list of at least two numbers.")
        array = np.array([self._number(entry, item) for item in raw], dtype=np.float64)
        array.setflags(write=False)
        return array

    def _origin(self, entry: str, table: dict[str, Any]) -> tuple[str, str]:
        source, status = table.get("source"), table.get("status")
        if status not in STATUSES:
            self.refuse(entry, f"has status '{status}'; allowed are {', '.join(STATUSES)}")
        if not isinstance(source, str) or not source.strip():
            self.refuse(
                entry, "has no source; say where the number comes from, or 'none' with the status 'common practice' or 'from memory'"
            )
        if source == "none" and status in ("published", "derived"):
            self.refuse(entry, f"is said to be {status} but its source is 'none'")
        return str(source).strip(), str(status)


_RISING = (
    ("no_recharge_v", "floor_v", "storage_low_v", "storage_high_v", "full_v"),
    ("end_v", "nominal_v", "full_v"),
    ("charge_low", "charge_high"),
    ("discharge_low", "discharge_high"),
    ("relaxation_fast", "relaxation_slow"),
)
_BETWEEN = {
    "reserve_soc": (0.0, 0.6),
    "charge_acceptance": (0.5, 1.0),
    "self_discharge_per_month": (0.0, 1.0),
    "relaxation_fast_share": (0.0, 1.0),
    "curve_spread_soc": (0.0, 0.5),
    "depth_half_cost": (0.0, 1.0),
    "depth_fifth_cost": (0.0, 1.0),
}

_NEVER_NEGATIVE = ("no_recharge_v", "resistance_energy", "hysteresis_v", "relaxation_v_per_c", "relaxation_soc_per_c")


def _check_order(chemistry: Chemistry, reader: _Reader) -> None:
    for row in _RISING:
        for low, high in pairwise(row):
            if chemistry[low] >= chemistry[high]:
                reader.refuse(low, f"is {chemistry[low]:g} and {high} is {chemistry[high]:g}; {low} must be the lower")
    for name, (low_end, high_end) in _BETWEEN.items():
        if not low_end <= chemistry[name] <= high_end:
            reader.refuse(name, f"is {chemistry[name]:g}; allowed is {low_end:g} to {high_end:g}")
    for name in _NEVER_NEGATIVE:
        if chemistry[name] < 0:
            reader.refuse(name, f"is {chemistry[name]:g}; it must be 0 or more")
    for make in chemistry.makes:
        if make.voltage_v[0] <= 0 or make.voltage_v[-1] > chemistry["full_v"]:
            reader.refuse(
                f"make.{make.name}.value",
                f"runs from {make.voltage_v[0]:g} to {make.voltage_v[-1]:g} V; allowed is above 0 up to full_v ({chemistry['full_v']:g} V)",
            )
    for name in ("resistance_capacity", "relaxation_fast"):
        if chemistry[name] <= 0:
            reader.refuse(name, f"is {chemistry[name]:g}; it must be above 0")
