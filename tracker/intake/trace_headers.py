"""What a logger's column is, told from its header: the words loggers use for time, voltage and current, and units beside them.

The words are everyday ones of several languages; no maker's list stands behind them.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from tracker.intake.text import shown

_TIME = (
    "time timestamp datetime elapsed uptime clock millis seconds secs second sec zeit zeitstempel uhrzeit sekunden sekunde laufzeit temps heure tiempo "
    "hora tempo ora tijd tid tidpunkt aika czas cas ido zaman время час 時間 时间 시간 minutes minuten hours"
)
_DATE = "date datum fecha dato data päiväys дата 日付 日期 날짜"
_VOLTS = (
    "voltage volts volt vbat vbatt ubat ubatt vpack upack spannung tension voltaje voltage tensione tensao spanning spaending spenning spanning "
    "jannite napiecie napeti feszultseg gerilim напряжение 電圧 电压 전압"
)
_AMPS = (
    "current curr amps amp ampere amperes amperage ibat ibatt ipack strom courant intensite corriente intensidad corrente stroom strom virta prad "
    "proud aram akim ток 電流 电流 전류"
)
_CELL = "cell zelle cellule celda cella celula cel cell celle kenno ogniwo clanek cella элемент банка セル 电芯 셀 z c lipocell"
_TEMPERATURE = "temperature temp temperatur temperatura lampotila teplota homerseklet sicaklik температура 温度 온도"

WORDS: Mapping[str, frozenset[str]] = {
    "time": frozenset(_TIME.split()),
    "date": frozenset(_DATE.split()),
    "volts": frozenset(_VOLTS.split()),
    "amps": frozenset(_AMPS.split()),
    "cell": frozenset(_CELL.split()),
    "temperature": frozenset(_TEMPERATURE.split()),
}
_LETTERS = {
    "t": "time",
    "u": "volts",
    "v": "volts",
    "i": "amps",
    "a": "amps",
    "ms": "time",
    "s": "time",
    "°c": "temperature",
    "°f": "temperature",
}
"""Whole headers of one letter or unit."""
_COMPOUNDS = {
    "spannung": "volts",
    "voltage": "volts",
    "strom": "amps",
    "current": "amps",
    "temperatur": "temperature",
    "zeitstempel": "time",
}
"""Found inside longer words as well, as of an Akkuspannung."""
_OWN = frozenset(
    ["pack", "bat", "batt", "battery", "akku", "accu", "batterie", "bateria", "total", "gesamt", "main", "lipo", "supply", "input", "in"]
)
"""A column that says it is the battery's comes before one that does not."""
_OTHERS = frozenset(
    [
        "bec",
        "rx",
        "receiver",
        "empfanger",
        "servo",
        "motor",
        "phase",
        "ripple",
        "signal",
        "min",
        "max",
        "avg",
        "average",
        "mean",
        "mittel",
        "limit",
        "set",
        "target",
        "soll",
        "peak",
        "cutoff",
        "esc",
        "regler",
        "fet",
        "mos",
        "ambient",
        "charger",
        "ladegerat",
        "capacity",
        "kapazitat",
        "power",
        "leistung",
        "energy",
        "energie",
        "throttle",
        "gas",
        "rpm",
        "used",
        "verbrauch",
        "signal",
        "rssi",
        "link",
        "extern",
        "external",
    ]
)
"""A column of something else, or of a limit."""

_UNITS: Mapping[str, tuple[str, str]] = {
    **dict.fromkeys(("s", "sec", "secs", "sek", "second", "seconds", "sekunden"), ("time", "s")),
    **dict.fromkeys(("ms", "msec", "millis", "milliseconds", "millisekunden"), ("time", "ms")),
    **dict.fromkeys(("min", "mins", "minute", "minutes", "minuten"), ("time", "min")),
    **dict.fromkeys(("h", "hr", "hour", "hours", "std", "stunden"), ("time", "h")),
    **dict.fromkeys(("v", "volt", "volts", "vdc"), ("volts", "V")),
    **dict.fromkeys(("mv", "millivolt", "millivolts"), ("volts", "mV")),
    **dict.fromkeys(("a", "amp", "amps", "ampere", "amperes", "adc"), ("amps", "A")),
    **dict.fromkeys(("ma", "milliamp", "milliamps", "milliampere"), ("amps", "mA")),
    **dict.fromkeys(("c", "°c", "degc", "celsius", "grad"), ("temperature", "°C")),
    **dict.fromkeys(("f", "°f", "degf", "fahrenheit"), ("temperature", "°F")),
    **dict.fromkeys(("k", "kelvin"), ("temperature", "K")),
    **dict.fromkeys(
        ("w", "kw", "mah", "ah", "wh", "rpm", "upm", "%", "hz", "khz", "g", "m", "km", "kmh", "km/h", "ohm", "mohm", "us", "µs", "ns", "db", "deg", "pa", "bar"),
        ("other", ""),
    ),
}  # fmt: skip
_IN_BRACKETS = re.compile(r"[\[(<{]\s*([^\])>}]*?)\s*[\])>}]")
_WORDS = re.compile(r"°[cf]|[^\W\d_]+|\d+|%")
_CELL_OF_WORDS = re.compile(r"^(?:cell|zelle|cellule|celda|cella|cel|celle|lipocell|c|z|v|u|vc|uz|cv)?(\d{1,3})$")
MOST_CELLS = 100


@dataclass(frozen=True, slots=True)
class Header:
    """What one header seems to be."""

    text: str
    role: str | None
    """time, date, volts, amps, cell or temperature"""
    unit: str | None
    score: int = 0
    number: int | None = None
    """Of a cell, as it is numbered there."""


@dataclass(frozen=True, slots=True)
class Matched:
    """Which column has which role, by its place; what is in doubt."""

    places: Mapping[str, int]
    units: Mapping[str, str]
    doubts: tuple[str, ...] = ()


def understand(text: str) -> Header:
    """Return what a header seems to be."""
    plain = re.sub(r"\[(\d+)\]", r" \1 ", _plain(text))
    inside = " ".join(_IN_BRACKETS.findall(plain))
    outside = _IN_BRACKETS.sub(" ", plain)
    words = _WORDS.findall(outside)
    kind, unit = _unit_of(_WORDS.findall(inside), inside)
    rest = list(words)
    if kind is None and len(rest) > 1 and rest[-1] in _UNITS:
        kind, unit = _UNITS[rest.pop()]
        if rest[-1:] in (["in"], ["deg"]):
            rest.pop()
    if kind is None and len(rest) == 1:  # a header that is nothing but a unit, and one of one letter
        role = _LETTERS.get(rest[0])
        if role is not None:
            own = _UNITS.get(rest[0])
            return Header(text, role, own[1] if own and own[0] == role else None, 3)
    if not rest and kind in ("time", "volts", "amps", "temperature"):
        return Header(text, kind, unit, 2)
    return _named(text, rest, kind, unit)


def match(headers: Sequence[str], named: Mapping[str, str] | None = None) -> Matched:
    """Return which column has which role; `named` says so for some, by role."""
    known = [understand(text) for text in headers]
    places: dict[str, int] = {}
    doubts: list[str] = []
    for role, text in (named or {}).items():
        found = place_of(headers, text)
        if found is not None:
            places[role] = found
    taken = set(places.values())
    for role in ("time", "date", "volts", "amps", "temperature"):
        if role in places:
            continue
        candidates = [place for place, header in enumerate(known) if header.role == role and place not in taken]
        if role == "time" and not candidates and "date" not in places:
            candidates = [place for place, header in enumerate(known) if header.role == "date" and place not in taken]
        if not candidates:
            continue
        best = max(known[place].score for place in candidates)
        likely = [place for place in candidates if known[place].score == best]
        places[role] = likely[0]
        taken.add(likely[0])
        if len(likely) > 1 and role != "date":
            others = ", ".join(shown(headers[place]) for place in likely[1:4])
            doubts.append(f"{shown(headers[likely[0]])} was taken for the {role}; {others} could be meant as well.")
    if not any(role.startswith("cell_") for role in places):
        doubts += _match_cells(known, places, taken)
    units = {role: unit for role, place in places.items() if (unit := _fitting_unit(role, known[place].unit)) is not None}
    return Matched(places, units, tuple(doubts))


def place_of(headers: Sequence[str], text: str) -> int | None:
    """Return the place of the column a person named, with or without regard to capitals."""
    stripped = text.strip()
    if stripped in headers:
        return list(headers).index(stripped)
    lower = [header.lower() for header in headers]
    return lower.index(stripped.lower()) if stripped.lower() in lower else None


def unit_word(text: str) -> tuple[str, str] | None:
    """Return of what kind a unit is and how it is written here, if it is one."""
    plain = _plain(text)
    kind, unit = _unit_of(_WORDS.findall(plain), plain)
    return None if kind is None or unit is None else (kind, unit)


def _named(text: str, words: list[str], kind: str | None, unit: str | None) -> Header:
    joined = "".join(words)
    number = _cell_number(words, joined, kind)
    if number is not None:
        return Header(text, "cell", unit if kind == "volts" else None, 3, number)
    role = next((role for role in ("time", "date", "volts", "amps", "temperature") if any(word in WORDS[role] for word in words)), None)
    if role is None and len(joined) > 1:
        role = next((role for part, role in _COMPOUNDS.items() if part in joined), None)
    if role is None and len(words) == 1:
        role = _LETTERS.get(words[0])
    own = any(word in _OWN for word in words)
    if role is None and kind in ("volts", "amps", "temperature") and own:
        role = kind
    if "t" in words and (kind == "temperature" or (own and role is None)):
        role = "temperature"
    if role == "volts" and any(word in WORDS["cell"] and len(word) > 1 for word in words):
        return Header(text, None, unit)  # the voltage of some cell, as the lowest, that is not numbered
    if role is None or kind not in (None, role, "time" if role == "date" else role):
        return Header(text, None, unit)
    score = 4 + 2 * any(word in _OWN for word in words) - 4 * any(word in _OTHERS for word in words) - (len(words) > 2) + (unit is not None)
    if role in ("volts", "amps") and any(word.isdigit() for word in words):
        score -= 2
    return Header(text, role, unit, score)


def _cell_number(words: list[str], joined: str, kind: str | None) -> int | None:
    if kind not in (None, "volts"):
        return None
    spoken = [word for word in words if word not in WORDS["volts"] and word not in ("no", "nr", "lipo")]
    found = _CELL_OF_WORDS.match("".join(spoken))
    if found is None or joined.isdigit():
        return None
    return int(found.group(1))


def _match_cells(known: Sequence[Header], places: dict[str, int], taken: set[int]) -> list[str]:
    """Give the numbered cells their roles, from 1 in order of their numbers."""
    numbered: dict[int, int] = {}
    for place, header in enumerate(known):
        if header.role == "cell" and header.number is not None and place not in taken and header.number not in numbered:
            numbered[header.number] = place
    order = sorted(numbered)
    if not order or order[0] not in (0, 1) or order != list(range(order[0], order[0] + len(order))) or len(order) > MOST_CELLS:
        return [f"The cells are numbered {', '.join(map(str, order[:10]))} and were not read."] if len(order) > 1 else []
    for cell, number in enumerate(order, start=1):
        places[f"cell_{cell}"] = numbered[number]
    return ["The cells are counted from 0 in the file; 0 was taken for cell 1."] if order[0] == 0 else []


def _fitting_unit(role: str, unit: str | None) -> str | None:
    kind = "volts" if role.startswith("cell_") else role
    return unit if unit is not None and any(each == (kind, unit) for each in _UNITS.values()) else None


def _unit_of(words: list[str], inside: str) -> tuple[str | None, str | None]:
    if re.search(r"[hms]{1,2}:[ms]{2}", inside):
        return "time", "timestamp"
    found = _UNITS.get("".join(words)) or _UNITS.get(inside.replace(" ", ""))
    return found if found is not None else (None, None)


def _plain(text: str) -> str:
    """Small letters without accents, with the two ways to write degrees and micro as one."""
    apart = unicodedata.normalize("NFKD", text.replace("º", "°").casefold())
    kept = "".join(char for char in apart if not unicodedata.combining(char))
    return re.sub(r"\bdeg(?:rees)?\s*([cf])\b", r"°\1", kept)
