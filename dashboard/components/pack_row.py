"""One pack as a row of the box: how it stands, how deep it last went, what is left of it, what to do next."""

from __future__ import annotations

from dash import dcc
from dash.development.base_component import Component

from dashboard.addresses import pack_address
from dashboard.components import elements as html
from dashboard.components.aria import aria
from dashboard.components.marks import grade_mark, name_text, state_mark
from dashboard.components.quantity import reason
from dashboard.theme import counted, day, interval, pack_words, percent, unbroken
from tracker.domain.results import Estimate, PackState


def pack_row(state: PackState) -> Component:
    """One pack as it stands now."""
    name = html.Div(
        [
            html.H3(dcc.Link(name_text(state.pack), href=pack_address(state.pack))),
            state_mark(state.state),
            html.P(pack_words(state.chemistry, state.series, state.capacity_ah), className="quiet"),
        ],
        className="pack-name",
    )
    following = html.Div([html.Span("Next", className="label"), html.P(unbroken(state.next))], className="pack-next")
    depth = html.Div(last_depth(state), className="pack-depth")
    capacity = html.Div(capacity_left(state), className="pack-capacity")
    return html.Li(html.Article([name, following, depth, capacity], className="pack-row"))


def last_depth(state: PackState) -> list[Component]:
    """How deep the last run took the deepest cell."""
    label = html.Span(f"Last run, {day(state.last_used_at)}, deepest cell" if state.last_used_at else "Last run", className="label")
    depth = state.last_depth
    if not isinstance(depth, Estimate):
        return [label, html.Span(f"Not enough to say: {reason(depth)}" if state.runs else "None yet", className="quiet")]
    cell = f"cell {state.deepest_cell}, " if state.deepest_cell is not None else ""
    words: list[Component | str] = [
        grade_mark(state.last_grade),
        ": ",
        html.Span(f"{cell}{interval(depth, 'share')} used", className="number"),
    ]
    return [label, depth_bar(depth), html.Span(words)]


def capacity_left(state: PackState) -> list[Component]:
    """What the pack holds now and what share of its rating that is."""
    label = html.Span("Capacity left", className="label")
    runs = html.Span(f"{counted(state.runs, 'run')}, {state.deep_runs or 'none'} too deep", className="quiet")
    if not isinstance(state.capacity, Estimate):
        return [label, html.Span("Not known closely yet", className="quiet"), runs]
    share = f", {percent(state.health.value)} of rated" if isinstance(state.health, Estimate) else ""
    return [label, html.Span(f"{interval(state.capacity, 'charge')}{share}", className="number"), runs]


def depth_bar(depth: Estimate) -> Component:
    """A bar as long as the depth with its interval drawn as a paler band; the number stands beside it."""
    low, value, high = (min(max(part, 0.0), 1.0) * 100 for part in (depth.low, depth.value, depth.high))
    return html.Span(
        [
            html.Span(className="bar-fill", style={"width": f"{value:.1f}%"}),
            html.Span(className="bar-band", style={"left": f"{low:.1f}%", "width": f"{max(high - low, 0.5):.1f}%"}),
        ],
        className="bar",
        **aria(hidden="true"),
    )
