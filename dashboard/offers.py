"""What the lists of a form offer, and what goes with something that is deleted."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from dashboard.components.change_fields import MODE_WORDS, YES_NO_WORDS
from dashboard.components.change_words import Choices, Form
from dashboard.needs import Services
from dashboard.theme import ENDING_WORDS, GOAL_WORDS, NB, chemistry_words, counted
from tracker.domain.changes import Key, Kind
from tracker.services.chemistries import CellVoltages, cell_voltages

Options = Sequence[tuple[str, str]]
COMMON = ("lipo", "lihv", "liion", "life", "nimh", "nicd", "lead")
"""Chemistries by how often models run on them: the likeliest is chosen first, and is not the one out of view."""


def choices_of(services: Services, form: Form) -> dict[str, Options]:
    """Every list the fields of a form need."""
    makers: Mapping[Choices, Callable[[], Options]] = {
        "chemistries": lambda: [(each.chemistry, _cell_words(each)) for each in sorted(cell_voltages(), key=_how_common)],
        "packs": lambda: [
            (pack.name, pack.name if pack.retired_on is None else f"{pack.name} (retired)")
            for pack in services.packs.all(include_retired=True)
        ],
        "vehicles": lambda: [(vehicle.name, vehicle.name) for vehicle in services.controllers.vehicles()],
        "controllers": lambda: [(controller.name, controller.name) for controller in services.controllers.all()],
        "modes": lambda: list(MODE_WORDS.items()),
        "yes_no": lambda: list(YES_NO_WORDS.items()),
        "endings": lambda: list(ENDING_WORDS.items()),
        "goals": lambda: list(GOAL_WORDS.items()),
    }
    return {field.choices: makers[field.choices]() for field in form.fields() if field.choices}


def goes_with(services: Services, kind: Kind, key: Key) -> str:
    """What goes when something is deleted, as the end of a sentence: and with it 12 runs."""
    if kind == "pack" and isinstance(key, str):
        record = services.packs.record(key)
        recorded = sum(note.pack == key for note in services.traces.all())
        parts = [(len(record.runs), "run"), (len(record.charges), "charge"), (recorded, "recording")]
    elif kind == "run" and not isinstance(key, str):
        parts = [(sum((note.pack, note.started_at) == key for note in services.traces.all()), "recording")]
    elif kind == "controller" and isinstance(key, str):
        parts = [(len(services.controllers.tests(key)), "bench test")]
    else:
        parts = []
    said = [counted(number, one) for number, one in parts if number]
    return f", and with it {' and '.join([', '.join(said[:-1]), said[-1]] if said[1:] else said)}" if said else ""


def lithium(chemistry: str) -> bool:
    """Whether a chemistry is one of lithium."""
    return any(each.chemistry == chemistry and each.lithium for each in cell_voltages())


def _how_common(each: CellVoltages) -> int:
    """Its place in the list; one that was added since stands at the end."""
    return COMMON.index(each.chemistry) if each.chemistry in COMMON else len(COMMON)


def _cell_words(each: CellVoltages) -> str:
    words = chemistry_words(each.chemistry)
    return f"{words[:1].upper()}{words[1:]}: {each.nominal_v:.1f}{NB}V, full at {each.full_v:.2f}{NB}V"
