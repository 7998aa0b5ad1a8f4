"""How this browser wants to read: degrees, the mark in decimals, and how days are written. Kept in a cookie, as text alone."""

from __future__ import annotations

from dataclasses import dataclass, fields

from flask import Response, g, has_request_context, request

COOKIE = "reading"
MINUS = "\u2212"
LASTS_S = 5 * 365 * 86400

CHOICES: dict[str, tuple[tuple[str, str], ...]] = {
    "degrees": (("c", "Celsius, 25 °C"), ("f", "Fahrenheit, 77 °F")),
    "numbers": (("point", "1,234.5"), ("comma", "1.234,5"), ("space", "1 234,5")),
    "days": (("words", "14 Jun 2025"), ("iso", "2025-06-14")),
}
"""Of each choice its values, the first of them the usual one, with an example each."""

_MARKS = {"point": (",", "."), "comma": (".", ","), "space": ("\u202f", ",")}
"""Between thousands, and before decimals."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Reading:
    """What was chosen."""

    degrees: str = "c"
    numbers: str = "point"
    days: str = "words"

    @property
    def marks(self) -> tuple[str, str]:
        """What stands between thousands, and before decimals."""
        return _MARKS[self.numbers]


USUAL = Reading()


def reading() -> Reading:
    """What the browser that asks has chosen; the usual where nobody asks."""
    if not has_request_context():
        return USUAL
    if "reading" not in g:
        g.reading = read_from(request.cookies.get(COOKIE, ""))
    found: Reading = g.reading
    return found


def read_from(text: str) -> Reading:
    """A choice as the cookie holds it, such as f-comma-iso; what cannot be read there is as usual."""
    given = dict(zip(CHOICES, text.split("-"), strict=False))
    return Reading(**{name: value for name, value in given.items() if value in dict(CHOICES[name])})


def keep(response: Response, chosen: Reading, *, secure: bool) -> None:
    """Have the browser keep a choice."""
    text = "-".join(str(getattr(chosen, field.name)) for field in fields(Reading))
    response.set_cookie(COOKIE, text, max_age=LASTS_S, httponly=True, samesite="Lax", secure=secure)


def written(number: str) -> str:
    """A number written with 1,234.5 in mind, as it was chosen to be read."""
    number = number.replace("-", MINUS) if number.strip("-0.,") else number.removeprefix("-")
    thousands, decimal = reading().marks
    return number if decimal == "." else number.translate({ord(","): thousands, ord("."): decimal})
