"""A pack's voltage from full down to its floor, the advised cutoff, and where each present controller lets go."""

from __future__ import annotations

from collections.abc import Sequence

from dashboard.figures.chart import PLAIN, Chart, Part, chart_of
from dashboard.figures.names import chart_name
from dashboard.figures.template import BLUE, GREEN, GREY, ORANGE, PURPLE, WASH
from dashboard.theme import NB, interval, volts
from tracker.domain.planning import CutoffPlan, PresentCutoff
from tracker.domain.results import Estimate

HEIGHT_PX = 420
WORDS_SHARE = 0.42
"""Part of the width, to the left of the controllers, in which the lines are named: as much as that takes on a phone."""
BAND_WIDTH, SIDE_BY_SIDE, NEAR = 0.3, 3, 0.06
NAME_CHARACTERS = 20
"""So many characters of names find room side by side on a phone."""


def ladder_figure(plan: CutoffPlan) -> Chart:
    """Lines for full, advised and floor; one column a controller with the band in which it lets go."""
    low, high = _range(plan)
    columns = max(len(plan.present), 1)
    floor_v = plan.floor_v * plan.series
    rungs = [_rung(plan, plan.full_v, "full", GREY, "dot", above=False), _rung(plan, plan.floor_v, "floor", ORANGE, "dash", above=False)]
    if plan.recommended is not None:
        rungs.append(_rung(plan, plan.recommended.cell_v, "advised", GREEN, "solid", above=True))
    advised = [] if plan.recommended is None else [plan.recommended.pack_v]
    lines_v = [plan.full_v * plan.series, floor_v, *advised]
    known = [(place, one, one.trip_v) for place, one in enumerate(plan.present) if isinstance(one.trip_v, Estimate)]
    # More than two names find no room side by side, so they stand by turns higher and lower.
    lines = 1 if columns <= 2 else 2
    most = max(4, lines * NAME_CHARACTERS // columns)
    names = [place % lines * "<br><br>" + f"{chart_name(one.controller, most)}<br>{_known(one)}" for place, one in enumerate(plan.present)]
    danger = {"xref": "paper", "x0": 0, "x1": 1, "yref": "y", "y0": low, "y1": floor_v}
    return chart_of(
        [_middle(place, one, trip) for place, one, trip in known],
        {
            "xaxis": {
                "range": [-0.5 - columns * WORDS_SHARE / (1 - WORDS_SHARE), columns - 0.5],
                "tickvals": list(range(len(plan.present))),
                "ticktext": names,
                "tickangle": 0,
                "ticks": "",
            },
            "yaxis": {"range": [low, high], "ticksuffix": f"{NB}V", "tickformat": ".1f", "nticks": 8},
            "margin": {"b": 12 + 36 * lines},
            "shapes": [
                {"type": "rect", **danger, "fillcolor": WASH, "line": {"width": 0}, "layer": "below"},
                *(line for line, _ in rungs),
                *(_band(place, one, trip) for place, one, trip in known),
            ],
            "annotations": [
                *(words for _, words in rungs),
                *(_value(place, trip, (low, high), lines_v, len(plan.present)) for place, _, trip in known),
                *(_never(place, low) for place, one in enumerate(plan.present) if not isinstance(one.trip_v, Estimate)),
            ],
        },
    )


def ladder_sentence(plan: CutoffPlan) -> str:
    """What the ladder shows: who lets go below the advised cutoff, and who below the floor."""
    if not plan.present:
        return "No controller is written down for this model: the ladder shows only where one should let go."
    bands = [(one, one.trip_v.value) for one in plan.present if isinstance(one.trip_v, Estimate)]
    never = len(plan.present) - len(bands)
    floor_v, many = plan.floor_v * plan.series, len(plan.present)
    said = []
    if plan.recommended is not None:
        below = sum(at < plan.recommended.pack_v - 0.005 for _, at in bands)
        said.append(f"{_of(below, many)} below the advised {volts(plan.recommended.pack_v)}")
    under = sum(at < floor_v for _, at in bands)
    if not said:
        said.append(f"{_of(under, many)} below the floor of {volts(floor_v)}")
    elif many > 1:
        said.append(f"{_so_many(under)} below the floor of {volts(floor_v)}")
    elif under:
        said.append(f"below the floor of {volts(floor_v)}")
    words = " and ".join(said) + "."
    return words + (f" {_so_many(never).capitalize()} never let{'s' if never == 1 else ''} go." if never else "")


def ladder_table(plan: CutoffPlan) -> tuple[list[str], list[list[str]]]:
    """Columns and rows of the same numbers, highest first."""
    rungs = [("full", plan.full_v * plan.series, volts(plan.full_v * plan.series), "chemistry")]
    if plan.recommended is not None:
        rungs.append(("advised cutoff", plan.recommended.pack_v, volts(plan.recommended.pack_v), "this plan"))
    rungs.append(("floor", plan.floor_v * plan.series, volts(plan.floor_v * plan.series), "chemistry"))
    for one in plan.present:
        trip = one.trip_v
        if isinstance(trip, Estimate):
            rungs.append((one.controller, trip.value, interval(trip, "volts"), source_words(one)))
    rungs.sort(key=lambda rung: -rung[1])
    rows = [[name, said, volts(at / plan.series), source] for name, at, said, source in rungs]
    rows += [[one.controller, "never", "never", source_words(one)] for one in plan.present if not isinstance(one.trip_v, Estimate)]
    return ["Rung", "Pack", "A cell", "From"], rows


def source_words(one: PresentCutoff) -> str:
    """Where the trip of a controller is known from."""
    return "bench test" if one.tested else "setting"


def _rung(plan: CutoffPlan, cell_v: float, name: str, colour: str, dash: str, *, above: bool) -> tuple[Part, Part]:
    """A line right across, and its name."""
    at = cell_v * plan.series
    across = {"xref": "paper", "x0": 0, "x1": 1, "yref": "y", "y0": at, "y1": at}
    line = {"type": "line", **across, "line": {"color": colour, "width": 2, "dash": dash}, "layer": "below"}
    place = {"xref": "paper", "x": 0, "xanchor": "left", "xshift": 4, "yref": "y", "y": at, "yanchor": "bottom" if above else "top"}
    return line, {**PLAIN, "text": f"<b>{name}</b> {volts(at)}", **place}


def _never(place: int, low: float) -> Part:
    """An arrow down for one that never lets go."""
    arrow = {"ax": 0, "ay": -54, "arrowcolor": PURPLE, "arrowwidth": 2, "arrowhead": 2}
    return {"text": "never<br>lets go", "x": place, "y": low, "yanchor": "bottom", **arrow}


def _band(place: int, one: PresentCutoff, trip: Estimate) -> Part:
    """The voltages at which a controller lets go nine times in ten: filled where that was measured, open where it was only set."""
    colour = _colour(one)
    return {
        "type": "rect", "x0": place - BAND_WIDTH, "x1": place + BAND_WIDTH, "y0": trip.low, "y1": trip.high, "yref": "y", "xref": "x",
        "fillcolor": colour if one.tested else "rgba(0,0,0,0)", "opacity": 0.55 if one.tested else 1.0, "line": {"width": 2, "color": colour},
    }  # fmt: skip


def _middle(place: int, one: PresentCutoff, trip: Estimate) -> Part:
    """Where it lets go most likely."""
    said = f"{chart_name(one.controller)}<br>lets go at {interval(trip, 'volts')}, by {source_words(one)}"
    marker = {
        "symbol": "diamond-wide" if one.tested else "diamond-wide-open",
        "size": 11,
        "color": _colour(one),
        "line": {"width": 2, "color": _colour(one)},
    }
    return {
        "type": "scatter", "x": [place], "y": [trip.value], "mode": "markers", "marker": marker, "text": [said],
        "hovertemplate": "%{text}<extra></extra>",
    }  # fmt: skip


def _value(place: int, trip: Estimate, span: tuple[float, float], lines: Sequence[float], many: int) -> Part:
    """Its voltage, above its band, or below where a line runs close above; of more than find room side by side, every other one below."""
    low, high = span
    below = place % 2 == 1 if many > SIDE_BY_SIDE else any(0 <= at - trip.high < NEAR * (high - low) for at in lines)
    at = {"x": place, "y": trip.low if below else trip.high, "yanchor": "top" if below else "bottom", "yshift": -3 if below else 3}
    return {**PLAIN, "text": volts(trip.value), **at}


def _colour(one: PresentCutoff) -> str:
    return BLUE if one.tested else PURPLE


def _known(one: PresentCutoff) -> str:
    """For under its name: whether its band was measured."""
    return "tested" if one.tested else "as set"


def _range(plan: CutoffPlan) -> tuple[float, float]:
    """From a little under the lowest rung to a little over full."""
    known = [one.trip_v.low for one in plan.present if isinstance(one.trip_v, Estimate)]
    low, high = min([plan.floor_v * plan.series, *known]), plan.full_v * plan.series
    room = 0.1 * (high - low)
    return max(low - 1.2 * room, 0.0), high + 0.5 * room


def _of(some: int, many: int) -> str:
    if many == 1:
        return "The controller lets go" if some else "The controller does not let go"
    lets = "lets" if some == 1 else "let"
    return f"{_so_many(some).capitalize()} of {many} controllers {lets} go"


def _so_many(number: int) -> str:
    return "none" if number == 0 else f"{number}"
