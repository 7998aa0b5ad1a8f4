"""What the page Log asks for: which field comes first, which waits under the fold, and with which keyboard."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from dashboard.theme import ENDING_WORDS, GOAL_WORDS

Kind = Literal["run", "charge"]
KINDS: tuple[Kind, ...] = ("run", "charge")
Look = Literal["pack", "vehicle", "number", "volts", "cells", "pick", "pills", "switch", "time", "words"]
"""What a field looks like. `volts` is one box or one a cell, as the switch says; `cells` always one a cell."""

READINGS = "readings"
"""The switch between one voltage for the pack and one a cell."""
EACH, WHOLE = "each", "pack"
MOST_CELLS = 100


@dataclass(frozen=True, kw_only=True, slots=True)
class Field:
    """One question; its name is that of the column in a logbook file."""

    name: str
    label: str
    look: Look = "number"
    unit: str = ""
    hint: str = ""
    choices: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, kw_only=True, slots=True)
class Form:
    """Everything asked of a run or of a charge."""

    kind: Kind
    title: str
    tab: str
    first: tuple[Field, ...]
    more: tuple[Field, ...]
    time: str
    """Name of the field for when it happened; left empty, it follows from when it was written down."""

    @property
    def fields(self) -> tuple[Field, ...]:
        """Every field, in the order of the page."""
        return self.first + self.more


_PACK = Field(name="pack", label="Pack", look="pack")
WARMTH, DEGREES = "pack_c", "degrees"
"""The field for a temperature, and the one that says in which degrees it was typed."""
_TEMPERATURE = Field(name=WARMTH, label="Temperature", unit="°C", hint="Of the pack.")
_SWITCH = Field(name=READINGS, label="Volts read of", look="switch", choices=((WHOLE, "Whole pack"), (EACH, "Each cell")))
_NOTES = Field(name="notes", label="Notes", look="words")

RUN = Form(
    kind="run",
    title="Log a run",
    tab="Run",
    time="started_at",
    first=(
        _PACK,
        Field(name="vehicle", label="Model", look="vehicle"),
        Field(name="run_min", label="Driven", unit="min"),
        _SWITCH,
        Field(name="after_v", label="Volts after", look="volts", unit="V"),
    ),
    more=(
        Field(name="rest_after_min", label="Rest after run", unit="min", hint="Until volts were read."),
        Field(name="rest_before_min", label="Rest before run", unit="min", hint="Until volts were read."),
        Field(name="before_v", label="Volts before", look="volts", unit="V"),
        Field(name="loaded_v", label="Lowest volts", unit="V", hint="Whole pack, under load."),
        Field(name="loaded_a", label="Current then", unit="A", hint="At the lowest volts."),
        Field(name="mean_a", label="Mean current", unit="A"),
        Field(name="used_mah", label="Meter in model", unit="mAh"),
        _TEMPERATURE,
        Field(name="ended_by", label="Ended by", look="pick", choices=(("", "not recorded"), *ENDING_WORDS.items())),
        Field(name="started_at", label="Started at", look="time", hint="Left empty: just now, less the minutes."),
        _NOTES,
    ),
)

CHARGE = Form(
    kind="charge",
    title="Log a charge",
    tab="Charge",
    time="finished_at",
    first=(
        _PACK,
        Field(name="put_back_mah", label="Put back", unit="mAh"),
        Field(name="goal", label="Charged to", look="pills", choices=tuple((key, words.capitalize()) for key, words in GOAL_WORDS.items())),
    ),
    more=(
        _SWITCH,
        Field(name="end_v", label="Volts at the end", look="volts", unit="V"),
        Field(name="cell_mohm", label="Resistance of the cells", look="cells", unit="mΩ"),
        _TEMPERATURE,
        Field(name="finished_at", label="Finished at", look="time", hint="Left empty: just now."),
        _NOTES,
    ),
)

FORMS: Mapping[Kind, Form] = {"run": RUN, "charge": CHARGE}


def form_of(kind: str) -> Form:
    """The form of that kind; a run unless it says charge."""
    return CHARGE if kind == "charge" else RUN
