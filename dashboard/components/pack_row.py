"""One pack as a row of the box: how it stands, how deep it last went, what is left of it, what to do next."""

from __future__ import annotations

from dash import dcc, html
from dash.development.base_component import Component

from dashboard.addresses import pack_address
from dashboard.components.aria import aria
from dashboard.components.marks import grade_mark, name_text, state_mark
from dashboard.theme import counted, day, interval, pack_words, percent
from tracker.domain.results import Estimate, PackState


def pack_row(state: PackState) -> Component:
    """One pack as it stands now."""
    return html.Li(
        html.Article(
            [
                html.Div(
                    [
                        html.H3(dcc.Link(name_text(state.pack), href=pack_address(state.pack))),
                        html.P(pack_words(state.chemistry, state.series, state.capacity_ah), className="quiet"),
                    ],
                    className="pack-name",
                ),
                html.Div([state_mark(state.state), html.P(state.next)], className="pack-next"),
                html.Div(last_depth(state), className="pack-depth"),
                html.Div(capacity_left(state), className="pack-capacity"),
            ],
            className="pack-row",
        )
    )


def last_depth(state: PackState) -> list[Component]:
    """How deep the last run took the deepest cell."""
    label = html.Span("Last run, deepest cell", className="label")
    depth = state.last_depth
    if not isinstance(depth, Estimate):
        words = "No runs yet" if not state.runs else f"Not enough to say: {depth.why}"
        return [label, html.Span(words, className="quiet")]
    cell = f"cell {state.deepest_cell}, " if state.deepest_cell is not None else ""
    parts = [
        label,
        depth_bar(depth),
        html.Span([grade_mark(state.last_grade), ": ", html.Span(f"{cell}{interval(depth, 'share')} used", className="number")]),
    ]
    if state.last_used_at is not None:
        parts.append(html.Span(day(state.last_used_at), className="quiet"))
    return parts


def capacity_left(state: PackState) -> list[Component]:
    """What the pack holds now and what share of its rating that is."""
    label = html.Span("Capacity left", className="label")
    if not isinstance(state.capacity, Estimate):
        return [label, html.Span(f"Not enough to say: {state.capacity.why}", className="quiet")]
    share = f", {percent(state.health.value)} of rated" if isinstance(state.health, Estimate) else ""
    runs = f"{counted(state.runs, 'run')}, {state.deep_runs or 'none'} too deep"
    return [label, html.Span(f"{interval(state.capacity, 'charge')}{share}", className="number"), html.Span(runs, className="quiet")]


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
