"""What the present controllers of a model risk: each by itself, together, and when the driver goes on."""

from __future__ import annotations

from dash import dcc, html
from dash.development.base_component import Component

from dashboard.addresses import CONTROLLERS_PATH
from dashboard.components.marks import name_text, severity_mark
from dashboard.components.table import Cell, card_table
from dashboard.theme import interval, risk, unbroken
from tracker.domain.planning import CutoffPlan, PresentCutoff, PresentState
from tracker.domain.results import Estimate

LIKELY, SHORT_H = 0.5, 2.0
COLUMNS = ["Controller", "Lets go at", "Known from", "Risk by itself", "Verdict"]


def present_section(plan: CutoffPlan) -> Component:
    """The table of controllers, and what they come to together."""
    heading = html.H2("What the present controllers risk")
    if not plan.present:
        words = (
            "No controllers are written down for this model. Describe it with the controllers it carries, or use an alarm and the timer."
        )
        return html.Section([heading, html.P(words)])
    parts: list[Component] = [heading, card_table("Present controllers", COLUMNS, [_row(one) for one in plan.present])]
    if not plan.whole:
        parts.append(html.P("What they come to together is being worked out…", className="together", role="status"))
    elif plan.together is not None:
        parts.append(
            html.Ul([html.Li(unbroken(line)) for line in together_lines(plan.together, len(plan.present))], className="heed together")
        )
    parts.append(html.P(dcc.Link("Bench tests and settings", href=CONTROLLERS_PATH), className="more"))
    return html.Section(parts)


def together_lines(together: PresentState, many: int) -> list[str]:
    """What all of them come to, in sentences."""
    who, when = ("All together", "until the last lets go") if many > 1 else ("As it stands", "until it lets go")
    lines = [
        f"{who}: run {when}, a cell goes below its floor in {risk(together.below_floor_probability)} of runs.",
        f"Driven on whenever the pack has come back: in {risk(together.driven_on_probability)} of runs.",
    ]
    if isinstance(together.after_first_ah, Estimate) and together.after_first_ah.value >= 0.001:
        lines.append(f"A driver who goes on takes {interval(together.after_first_ah, 'charge')} more after the first has let go.")
    hours = together.hours_to_floor
    if isinstance(hours, Estimate):
        lines.append(f"Left plugged in after that, the first cell comes to its floor in {_hours_words(hours)}.")
    return lines


def _hours_words(hours: Estimate) -> str:
    """In minutes where it is a matter of those."""
    if hours.value >= SHORT_H:
        return interval(hours, "hours")
    if hours.value * 60 < 1:
        return "less than a minute"
    part = [3600 * each for each in (hours.value, hours.low, hours.high, hours.sd)]
    return interval(Estimate(value=part[0], low=part[1], high=part[2], sd=part[3]), "minutes")


def _row(one: PresentCutoff) -> list[Cell]:
    trip = interval(one.trip_v, "volts") if isinstance(one.trip_v, Estimate) else "never"
    verdict: list[Component | str] = [unbroken(one.verdict)]
    if not one.protects:
        verdict = [severity_mark("stop" if one.below_floor_probability >= LIKELY else "caution"), " ", *verdict]
    return [
        name_text(one.controller),
        trip,
        "bench test" if one.tested else "setting",
        risk(one.below_floor_probability),
        html.Span(verdict),
    ]
