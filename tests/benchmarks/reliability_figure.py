"""The reliability figure: nominal against achieved probability of intervals, as a small drawing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from xml.sax.saxutils import escape

WIDTH, HEIGHT = 640, 420
LEFT, TOP, SIDE = 64, 28, 330
COLOURS = ("#1b6ca8", "#b3541e", "#2f7d4f", "#7a4fa3", "#8a6d00", "#555555")
DASHES = ("", "6 3", "2 3", "8 3 2 3", "10 4", "1 4")
"""Lines differ by more than colour."""
ASKED = (0.85, 0.95)
"""Where the share of 90 % intervals that hold the truth has to lie."""


def _x(probability: float) -> float:
    return round(LEFT + SIDE * (probability - 0.4) / 0.6, 1)


def _y(probability: float) -> float:
    return round(TOP + SIDE * (1.0 - (probability - 0.4) / 0.6), 1)


def reliability_figure(nominal: Sequence[float], achieved: Mapping[str, Sequence[float]]) -> str:
    """Draw nominal against achieved, one line a group of evidence, as SVG."""
    low = min([0.4, *(value for line in achieved.values() for value in line)])
    if low < 0.4:
        # The axis starts at 40 %: a point below it is drawn on the axis, and the table has its value.
        achieved = {name: [max(value, 0.4) for value in line] for name, line in achieved.items()}
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" font-family="sans-serif" font-size="13" role="img">',
        "<title>Share of intervals that hold the truth, against their nominal probability</title>",
        f'<rect width="{WIDTH}" height="{HEIGHT}" fill="#ffffff"/>',
        *_axes(),
    ]
    for place, (name, line) in enumerate(achieved.items()):
        parts += _line(place, name, nominal, line)
    return "\n".join([*parts, "</svg>", ""])


def _axes() -> list[str]:
    parts = [f'<rect x="{LEFT}" y="{TOP}" width="{SIDE}" height="{SIDE}" fill="none" stroke="#777777"/>']
    for step in range(4, 11):
        value = step / 10.0
        parts += [
            f'<path d="M{_x(value)} {TOP + SIDE}v5M{LEFT} {_y(value)}h-5" stroke="#777777"/>',
            f'<text x="{_x(value)}" y="{TOP + SIDE + 20}" text-anchor="middle">{10 * step}</text>',
            f'<text x="{LEFT - 9}" y="{_y(value) + 4}" text-anchor="end">{10 * step}</text>',
        ]
    parts += [
        f'<path d="M{_x(0.4)} {_y(0.4)}L{_x(1.0)} {_y(1.0)}" stroke="#999999" stroke-dasharray="4 4"/>',
        f'<path d="M{_x(0.9)} {_y(ASKED[0])}V{_y(ASKED[1])}" stroke="#999999" stroke-width="9" stroke-opacity="0.4"/>',
        f'<text x="{LEFT + SIDE / 2}" y="{TOP + SIDE + 40}" text-anchor="middle">nominal, %</text>',
        f'<text transform="translate(20 {TOP + SIDE / 2}) rotate(-90)" text-anchor="middle">intervals that hold the truth, %</text>',
    ]
    return parts


def _line(place: int, name: str, nominal: Sequence[float], achieved: Sequence[float]) -> list[str]:
    colour, dash = COLOURS[place % len(COLOURS)], DASHES[place % len(DASHES)]
    path = "L".join(f"{_x(p)} {_y(a)}" for p, a in zip(nominal, achieved, strict=True))
    y = TOP + 14 + 24 * place
    start = LEFT + SIDE + 18
    stroke = f'stroke="{colour}" stroke-width="2" fill="none"' + (f' stroke-dasharray="{dash}"' if dash else "")
    dots = [f'<circle cx="{_x(p)}" cy="{_y(a)}" r="3.5" fill="{colour}"/>' for p, a in zip(nominal, achieved, strict=True)]
    return [
        f'<path d="M{path}" {stroke}/>',
        *dots,
        f'<path d="M{start} {y - 4}h26" {stroke}/>',
        f'<text x="{start + 32}" y="{y}">{escape(name)}</text>',
    ]
