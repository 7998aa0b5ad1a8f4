"""The resistor that moves a trip point: the part, other values, how far off it may be, the other places, and what to heed."""

from __future__ import annotations

from dash import html
from dash.development.base_component import Component

from dashboard.components.marks import severity_mark
from dashboard.components.table import Cell, card_table
from dashboard.reading import written
from dashboard.theme import NB, number, resistor, unbroken
from tracker.domain.divider import PLACE_WORDS, DividerPlan, PlaceOption, TripLimits


def divider_answer(plan: DividerPlan) -> Component:
    """Cautions first where one can act on them wrongly, then the part and its limits."""
    parts: list[Component] = [html.Section([html.H3("The resistor"), headline(plan)])]
    parts.append(html.Section([html.H3("What to heed"), _cautions(plan)]))
    if plan.choices:
        parts.append(html.Section([html.H3("Values that can be bought"), card_table("Values", *_choices(plan))]))
    parts.append(html.Section([html.H3("How far off the trip may be"), card_table("Limits", *_limits(plan)), _basis(plan)]))
    columns: list[str] = ["Place", "Resistor", "Then lets go at", "Remark"]
    parts.append(html.Section([html.H3("All four places"), card_table("Places", columns, [_place(one) for one in plan.places])]))
    return html.Div(parts)


def headline(plan: DividerPlan) -> Component:
    """What to add where, and what it gives."""
    task = plan.task
    now = f"It lets go at {_volts(task.trips_at_v)} now and is wanted at {_volts(task.wanted_v)}; it compares with {written(f'{plan.reference_v:.4g}')}{NB}V."
    if plan.add == "none":
        return html.Div([html.P(html.Strong("Add nothing"), className="headline"), html.P(now)])
    if plan.chosen is None:
        what = f"{written(f'{plan.ideal_ratio or 0.0:.4g}')} times the {_part(plan.add)} resistor"
        return html.Div(
            [
                html.P([html.Strong(what), f" {PLACE_WORDS[plan.add]}"], className="headline"),
                html.P(f"{now} The value in ohms is not known before that resistor is."),
            ]
        )
    exact = "" if plan.ideal_ohm is None else f" Exact would be {resistor(plan.ideal_ohm)}."
    return html.Div(
        [
            html.P([html.Strong(resistor(plan.chosen.added_ohm)), f" {PLACE_WORDS[plan.add]}"], className="headline"),
            html.P(f"It then lets go at {_volts(plan.trip_v)}. {now}{exact}"),
        ]
    )


def _cautions(plan: DividerPlan) -> Component:
    lines = [html.Li([severity_mark("caution"), " ", unbroken(words)]) for words in plan.cautions]
    return html.Ul(lines, className="cautions")


def _choices(plan: DividerPlan) -> tuple[list[str], list[list[Cell]]]:
    rows: list[list[Cell]] = []
    for one in sorted(plan.choices, key=lambda choice: choice.added_ohm):
        nearest, highest = one == plan.chosen, one == plan.not_below
        remark = ("nearest, and not below" if highest else "nearest") if nearest else "nearest that is not below" if highest else ""
        rows.append([resistor(one.added_ohm), _volts(one.trip_v), remark])
    return [plan.task.series, "Lets go at", "Remark"], rows


def _limits(plan: DividerPlan) -> tuple[list[str], list[list[Cell]]]:
    rows: list[list[Cell]] = [
        ["This one, bench tested before", *_span(plan.as_tested)],
        ["Any one built like it", *_span(plan.as_designed)],
    ]
    return ["Which", "All parts at their limits", f"95{NB}% of them"], rows


def _span(limits: TripLimits) -> list[Cell]:
    return [
        f"{number(limits.worst_low_v, 3)} to {_volts(limits.worst_high_v)}",
        f"{number(limits.low_95_v, 3)} to {_volts(limits.high_95_v)}",
    ]


def _basis(plan: DividerPlan) -> Component:
    task, rss = plan.task, plan.as_designed.rss_v
    said = [
        f"Resistors ±{100 * task.part_tolerance:g}{NB}%, compared voltage ±{100 * task.reference_tolerance:g}{NB}%, bench reading "
        f"±{task.bench_within_v:g}{NB}V" + ("." if rss is None else f"; root of the sum of squares for any one: ±{_volts(rss)}."),
        f"Warmer by {plan.drift.change_k:g}{NB}K: ±{_volts(plan.drift.rss_v)}, at worst ±{_volts(plan.drift.worst_v)}.",
    ]
    if plan.power_w is not None and plan.most_power_w is not None:
        said.append(
            f"Heat in it: {written(f'{1000 * plan.power_w:.3g}')}{NB}mW at the trip, {written(f'{1000 * plan.most_power_w:.3g}')}{NB}mW on a full pack."
        )
    return html.P(" ".join(said), className="quiet reading")


def _place(one: PlaceOption) -> list[Cell]:
    place = PLACE_WORDS[one.place]
    name = place[:1].upper() + place[1:]
    if one.why_not:
        return [name, "not here", "none", unbroken(one.why_not[:1].upper() + one.why_not[1:])]
    cut = "its part has to be lifted or a trace cut" if one.cuts_trace else "no trace has to be cut"
    if one.chosen is None:
        return [name, f"{written(f'{one.ideal_ratio or 0.0:.4g}')} times the {_part(one.place)} one", "as wanted", cut]
    return [name, f"{resistor(one.chosen.added_ohm)}, exact {resistor(one.ideal_ohm or 0.0)}", _volts(one.chosen.trip_v), cut]


def _part(place: str) -> str:
    return "bottom" if place.endswith("bottom") else "top"


def _volts(value_v: float) -> str:
    """With three decimals, for here hundredths are what is chosen between."""
    return number(value_v, 3) + f"{NB}V"
