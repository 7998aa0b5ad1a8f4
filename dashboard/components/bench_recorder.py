"""A bench test taken step by step: set the supply, tap what the motor does, see where it lets go so far."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from dash import html
from dash.development.base_component import Component

from dashboard.components.aria import aria
from dashboard.components.controller_list import restart_words
from dashboard.components.form import number_input
from dashboard.theme import counted, interval, unbroken, volts
from tracker.domain.bench import BenchResult
from tracker.domain.results import Estimate

STEPS = (("bench-down-10", "−0.10"), ("bench-down-5", "−0.05"), ("bench-up-5", "+0.05"), ("bench-up-10", "+0.10"))
TAPS = ("bench-running", "bench-stopped", "bench-undo")
BEFORE = (
    "Take the propeller off or the wheels off the ground, keep hands and hair clear, and let the motor turn lightly.",
    "Feed the controller from a supply with its current limited; never connect a pack and a supply together.",
    "Start above where it should let go. Turn down in small steps, and tap at each what the motor does.",
    "When it has stopped, go up until it runs again. Do it two or three times over: that tells how sure it is.",
    "In doubt ask someone qualified; the maker's instructions come first.",
)


@dataclass(frozen=True, slots=True)
class Noted:
    """One step as it was noted, and what is wrong with it."""

    text: str
    running: bool
    supply_v: float | None
    problem: str = ""


def recorder() -> Component:
    """The buttons, and where the answer to them appears."""
    steps = [html.Button(words, id=name, type="button", className="step") for name, words in STEPS]
    return html.Div(
        [
            html.Details([html.Summary("How to test safely"), html.Ul([html.Li(line) for line in BEFORE], className="heed")], open=True),
            html.Div(
                [
                    html.Label("Supply now, V", htmlFor="bench-supply"),
                    number_input("bench-supply", most=12),
                ],
                className="field supply",
            ),
            html.Div(steps, className="steps", role="group", **aria(label="Change the supply voltage")),
            html.Div(
                [
                    html.Button("Running", id="bench-running", type="button", className="tap tap-running"),
                    html.Button("Stopped", id="bench-stopped", type="button", className="tap tap-stopped"),
                ],
                className="taps",
                role="group",
                **aria(label="What the motor does at this voltage"),
            ),
            html.Div(id="bench-so-far", className="so-far", role="status"),
            html.Div(
                [
                    html.Button("Undo the last step", id="bench-undo", type="button"),
                    html.Button("Save this test", id="bench-save", type="button"),
                ],
                className="taps",
            ),
            html.Div(id="bench-said", role="status", className="said"),
            html.Div(id="bench-list"),
        ],
        className="recorder",
    )


def steps_list(noted: Sequence[Noted]) -> Component:
    """The steps, newest first, each with what was seen."""
    if not noted:
        return html.P("No step yet.", className="quiet")
    lines = []
    for place, step in reversed(list(enumerate(noted, start=1))):
        shape = html.Span(className="shape", **aria(hidden="true"))
        state = html.Span([shape, "running" if step.running else "stopped"], className=f"mark motor-{'on' if step.running else 'off'}")
        said = step.text if step.supply_v is None else volts(step.supply_v)
        fault = [html.Span(f"{unbroken(step.problem)} Undo this step.", className="problem")] if step.problem else []
        lines.append(html.Li([html.Span(f"{place}. {said} ", className="number"), state, *fault]))
    return html.Section([html.H3(counted(len(noted), "step")), html.Ul(lines, className="steps-list")])


def so_far(result: BenchResult | None, noted: Sequence[Noted]) -> list[Component]:
    """What the steps show so far, and what to do next."""
    last = noted[-1] if noted else None
    if last is not None and last.problem:
        return [html.P(unbroken(last.problem[:1].upper() + last.problem[1:]), className="problem")]
    head = (
        ""
        if last is None
        else f"Noted {last.text if last.supply_v is None else volts(last.supply_v)}, {'running' if last.running else 'stopped'}. "
    )
    if result is None:
        return [html.P(f"{head}{'Note the first step.' if last is None else 'Go on turning down.'}")]
    if not isinstance(result.trip_v, Estimate):
        return [html.P(f"{head}It has not let go yet.")]
    lines: list[Component] = [
        html.P([head, html.Strong(f"Lets go at {interval(result.trip_v, 'volts')}"), f", seen {counted(result.trips, 'time')}."])
    ]
    again = restart_words(result)
    lines.append(html.P("Turn up until it runs again." if again == "not tried" else f"Runs again: {again}."))
    if result.restless:
        lines.append(html.P("It let go and took hold more than once on the way: use smaller steps and wait longer at each."))
    return lines
