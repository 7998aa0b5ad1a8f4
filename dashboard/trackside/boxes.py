"""The fields of the page Log as HTML: big enough for a wet thumb, with the keyboard that fits and the fault under the box."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from html import escape

from dashboard.theme import counted, degrees, mah
from dashboard.trackside.fields import WARMTH, Field
from dashboard.trackside.markup import attributes, sentence
from tracker.domain.pack import Pack

MOST_TYPED = 60
MOST_NOTES = 10_000


@dataclass(frozen=True, kw_only=True, slots=True)
class Box:
    """What one field is drawn from: what stands in the form, what is wrong with it, and what there is to choose from."""

    field: Field
    prefix: str
    texts: Mapping[str, str]
    fault: str
    packs: Sequence[Pack]
    vehicles: Sequence[str]

    @property
    def own_id(self) -> str:
        """Unlike every other on the page, which holds two forms."""
        return f"{self.prefix}-{self.field.name}"

    @property
    def text(self) -> str:
        """What stands in it."""
        return self.texts.get(self.field.name, "")

    @property
    def label(self) -> str:
        """Its question, with the unit, as HTML."""
        unit = degrees() if self.field.name == WARMTH else self.field.unit
        return escape(f"{self.field.label}, {unit}" if unit else self.field.label)

    @property
    def about(self) -> str:
        """Where a reader for the blind finds hint and fault."""
        ids = f"{self.own_id}-problem" + (f" {self.own_id}-hint" if self.field.hint else "")
        return attributes(aria_describedby=ids, aria_invalid="true" if self.fault else None)


def field_html(box: Box) -> str:
    """One field with its label, what stands in it and what is wrong with it."""
    field = box.field
    under = f'<p class="hint" id="{box.own_id}-hint">{escape(field.hint)}</p>' if field.hint else ""
    under += f'<p class="problem" id="{box.own_id}-problem" role="alert">{escape(sentence(box.fault))}</p>'
    if field.look in {"pills", "switch"}:
        chosen = box.text or (field.choices[0][0] if field.look == "switch" else "")
        pills = "".join(_pill(box.own_id, field.name, value, words, chosen=value == chosen) for value, words in field.choices)
        return _group(box, f"<legend>{box.label}</legend><div>{pills}</div>{under}")
    if field.look in {"volts", "cells"}:
        return _group(box, f"<legend>{box.label}</legend>{_volt_boxes(box)}{under}")
    wide = "" if field.look == "number" else " wide"
    return f'<div class="field{wide}" data-field="{field.name}"><label for="{box.own_id}">{box.label}</label>{_box(box)}{under}</div>'


def _pill(stem: str, name: str, value: str, words: str, *, chosen: bool) -> str:
    """One of a few choices as a button that stays pressed."""
    own_id = f"{stem}-{value}"
    box = f'<input type="radio"{attributes(id=own_id, name=name, value=value, checked=chosen)}>'
    return f'{box}<label for="{own_id}">{escape(words)}</label>'


def _group(box: Box, inside: str) -> str:
    about = f"{box.own_id}-problem"
    look = {"cells": "by-cell", "switch": "pills switch"}.get(box.field.look, box.field.look)
    return f'<fieldset class="field {look}" data-field="{box.field.name}" aria-describedby="{about}">{inside}</fieldset>'


def _box(box: Box) -> str:
    field = box.field
    naming = attributes(id=box.own_id, name=field.name)
    if field.look in {"pack", "vehicle", "pick"}:
        return f"<select{naming}{box.about}>{_options(box)}</select>"
    if field.look == "words":
        return f'<textarea rows="2" maxlength="{MOST_NOTES}"{naming}{box.about}>\n{escape(box.text)}</textarea>'
    if field.look == "time":
        return f'<input type="datetime-local" step="1"{naming}{attributes(value=box.text or None)}{box.about}>'
    return _number(box.own_id, field.name, box.text, box.about)


def _options(box: Box) -> str:
    if box.field.look == "pack":
        packs = "".join(
            _option(each.name, f"{each.name} · {counted(each.series, 'cell')}, {mah(each.capacity_ah)}", box.text, str(each.series))
            for each in box.packs
        )
        return _option("", "choose a pack", box.text) + packs
    if box.field.look == "vehicle":
        return _option("", "not recorded", box.text) + "".join(_option(name, name, box.text) for name in box.vehicles)
    return "".join(_option(value, words, box.text) for value, words in box.field.choices)


def _option(value: str, words: str, chosen: str, series: str | None = None) -> str:
    return f"<option{attributes(value=value, selected=value == chosen, data_series=series)}>{escape(words)}</option>"


def _volt_boxes(box: Box) -> str:
    """One box for the pack and one a cell; which of them is seen and counts, the switch says."""
    name, label = box.field.name, box.field.label
    whole = ""
    if box.field.look == "volts":
        whole = f'<div class="whole">{_number(box.own_id, name, box.text, box.about, label=f"{label}, whole pack")}</div>'
    series = next((pack.series for pack in box.packs if pack.name == box.texts.get("pack")), 1)
    cells = "".join(
        _number(
            f"{box.own_id}-{cell}", f"{name}_{cell}", box.texts.get(f"{name}_{cell}", ""), box.about, f"{label}, cell {cell}", str(cell)
        )
        for cell in range(1, series + 1)
    )
    return f'{whole}<div class="cells" data-label="{escape(label)}">{cells}</div><p class="hint order">Cell 1 is at the pack\'s negative end.</p>'


def _number(own_id: str, name: str, text: str, about: str, label: str = "", ghost: str | None = None) -> str:
    """As text: a browser's own number field makes 742 of 7,42."""
    kind = 'type="text" inputmode="decimal" enterkeyhint="next" autocomplete="off"'
    named = attributes(id=own_id, name=name, value=text, maxlength=str(MOST_TYPED), aria_label=label or None, placeholder=ghost)
    return f"<input {kind}{named}{about}>"
