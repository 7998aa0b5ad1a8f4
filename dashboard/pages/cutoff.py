"""Cutoff: where each controller of a model should let go on a pack, and what the present ones risk."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from dash import Dash, Input, Output, dcc, html, no_update
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate

from dashboard.addresses import CONTROLLERS_PATH, CUTOFF_PATH, change_address
from dashboard.components.aria import aria
from dashboard.components.empty import empty_state
from dashboard.components.figure import figure_frame, graph
from dashboard.components.finding import finding_list, grouped
from dashboard.components.form import (
    asked_in,
    asking_form,
    choice_field,
    number_field,
    problem_outputs,
    problem_texts,
    texts_of,
)
from dashboard.components.present import present_section
from dashboard.components.quantity import quantity_text
from dashboard.components.table import folded_table
from dashboard.components.terms import terms_fold
from dashboard.figures import cutoff_curve, voltage_ladder
from dashboard.needs import Services
from dashboard.pages.today import FIRST_STEPS
from dashboard.reading import reading
from dashboard.theme import NB, celsius_text, degrees, fahrenheit_text, interval, number, percent, risk, temperature, unbroken, volts
from tracker.domain.controller import Vehicle
from tracker.domain.pack import Pack
from tracker.domain.planning import CutoffPlan
from tracker.domain.results import Estimate
from tracker.errors import FieldErrors, TrackerError
from tracker.services.asking import USUAL_C, USUAL_RISK, cutoff_task

PATH, TITLE, MENU = CUTOFF_PATH, "Cutoff", True
FIELDS = ("pack", "vehicle", "risk", "c", "f", "mean_a", "burst_a")
"""The temperature stands in the address in the degrees it was typed in."""
RISKS = ("0.002", "0.005", "0.01", "0.02", "0.05", "0.1", "0.2")
PURPOSE = (
    "At which voltage the controllers of a model should let go, so that no cell of the pack is driven below its floor; "
    "what they risk as they are; and how long to set the timer."
)
CAUTIONS = (
    "The instructions of the pack's and the controller's makers come first. Where they ask for a higher cutoff, take theirs.",
    "Prove a changed cutoff on the bench before it is relied on: what is set is not always where a controller lets go.",
    "A controller sees only the whole pack. Use an alarm that watches every cell, and stop when it sounds.",
    "Unplug the pack when the run ends: a cutoff does not stop what the receiver and the controllers themselves draw.",
    "This is worked out from what was written down, and does not show that a pack is safe. One that is swollen, hot, leaking or knocked is not used.",
)


def layout(services: Services, /, **query: str) -> Component:
    """The page for what stands in the address."""
    packs, vehicles = services.packs.all(), services.controllers.vehicles()
    if not packs or not vehicles:
        return nothing_yet(packs)
    asked = filled(texts_of(query, FIELDS), packs, vehicles)
    answer = answered(services, asked)
    return page(form(asked, packs, vehicles, answer.problems), answer, asked)


def connect(app: Dash, services: Services) -> None:
    """Answer anew whenever the form has put something else into the address.

    What to set, which is asked for, comes first. What the present controllers do together takes as long again, and follows.
    """

    @app.callback(
        [Output("cutoff-answer", "children"), Output("cutoff-rest", "children"), Output("cutoff-fields", "children"),
         Output("cutoff-left", "data"), *problem_outputs("cutoff", FIELDS)],
        Input("cutoff-asked", "data"),
        prevent_initial_call=True,  # else what follows would wait for it in vain
    )  # fmt: skip
    def show(told: dict[str, Any] | None) -> list[Any]:
        if told is None:
            raise PreventUpdate
        packs, vehicles = services.packs.all(), services.controllers.vehicles()
        asked = filled(asked_in(told, FIELDS), packs, vehicles)
        answer = answered(services, asked)
        # Who went back sees the fields as they were; who is filling them in keeps them.
        fields = form_fields(asked, packs, vehicles, answer.problems) if told["back"] else no_update
        # Told each time, also where nothing is left: what is left of an earlier question must not come after this answer.
        left = {**told, "asked": asked, "left": not answer.whole}
        return [answer.advice, answer.rest, fields, left, *problem_texts(answer.problems, FIELDS)]

    @app.callback(
        Output("cutoff-rest", "children", allow_duplicate=True), Input("cutoff-left", "data"), prevent_initial_call="initial_duplicate"
    )
    def follow(told: dict[str, Any] | None) -> Component:
        if told is None or not told["left"]:
            raise PreventUpdate
        answer = answered(services, texts_of(told["asked"], FIELDS), whole=True)
        # Without a rest it says what has gone wrong since, such as that the pack has been removed.
        return answer.advice if answer.rest is None else answer.rest


@dataclass(frozen=True, kw_only=True, slots=True)
class Answer:
    """What is shown for a question: the advice, the rest under it, what is wrong with which field, and whether it is all there."""

    advice: Component
    rest: Component | None = None
    problems: Mapping[str, str] = field(default_factory=dict)
    whole: bool = True


def answered(services: Services, asked: Mapping[str, str], *, whole: bool = False) -> Answer:
    """The answer, or why there is none; the whole, or what is there at once."""
    try:
        task = cutoff_task({**asked, "c": celsius_text(asked["f"]) if asked["f"] else asked["c"]})
        if not task.pack or not task.vehicle:
            return Answer(advice=hint())
        plan = services.planning.cutoff(task) if whole else services.planning.cutoff_at_once(task)
        return Answer(advice=result(plan), rest=rest(plan), whole=plan.whole)
    except FieldErrors as wrong:
        marked = {temperature_field_name() if name in {"pack_c", "c"} else name: unbroken(words) for name, words in wrong.problems.items()}
        return Answer(advice=refused("Correct what is marked above."), problems=marked)
    except TrackerError as error:
        return Answer(advice=refused(str(error)))


def page(asking: Component, answer: Answer, asked: Mapping[str, str]) -> Component:
    """The form, and under it the answer; what is left of it follows once the page is there."""
    # A store given None empties itself, which would count as something told.
    left = dcc.Store(id="cutoff-left") if answer.whole else dcc.Store(id="cutoff-left", data={"asked": dict(asked), "left": True})
    return html.Div(
        [
            html.H1(TITLE, tabIndex=-1),
            html.P(PURPOSE, className="reading"),
            terms_fold("Cutoff", "Risk", "Floor", "Reserve", "Bursts", "± and the 90 % interval"),
            asking,
            html.Div(answer.advice, id="cutoff-answer", className="answer"),
            html.Div(answer.rest, id="cutoff-rest"),
            left,
        ]
    )


def form(asked: Mapping[str, str], packs: Sequence[Pack], vehicles: Sequence[Vehicle], problems: Mapping[str, str]) -> Component:
    """What the cutoff is wanted for."""
    fields = form_fields(asked, packs, vehicles, problems)
    return asking_form(fields, button="Show the cutoff", prefix="cutoff", page=PATH)


def form_fields(
    asked: Mapping[str, str], packs: Sequence[Pack], vehicles: Sequence[Vehicle], wrong: Mapping[str, str]
) -> list[Component]:  # fmt: skip
    """The fields with what is chosen in them."""
    names = [(pack.name, pack.name) for pack in packs]
    models = [(vehicle.name, vehicle.name) for vehicle in vehicles]
    chosen_risk = asked["risk"] or f"{USUAL_RISK:g}"
    risks = [(text, f"{100 * float(text):g}{NB}% of runs") for text in RISKS]
    if chosen_risk not in RISKS:
        risks.append((chosen_risk, _as_risk(chosen_risk)))
    return [
        choice_field("pack", "Pack", _with(names, asked["pack"]), asked["pack"], prefix="cutoff", empty="Choose a pack", problem=wrong.get("pack")),
        choice_field("vehicle", "Model", _with(models, asked["vehicle"]), asked["vehicle"], prefix="cutoff", empty="Choose a model", problem=wrong.get("vehicle")),
        choice_field("risk", "A cell below its floor in at most", risks, chosen_risk, prefix="cutoff", problem=wrong.get("risk")),
        *temperature_fields(asked, wrong),
        number_field("mean_a", "Mean current, A", asked["mean_a"], prefix="cutoff", problem=wrong.get("mean_a"), hint="empty: as its runs show"),
        number_field("burst_a", "In bursts, A", asked["burst_a"], prefix="cutoff", problem=wrong.get("burst_a"), hint="empty: as its runs show"),
    ]  # fmt: skip


def temperature_field_name() -> str:
    """Of the field for the temperature: c or f, as this browser counts."""
    return reading().degrees


def temperature_fields(asked: Mapping[str, str], wrong: Mapping[str, str]) -> list[Component]:
    """The temperature in the degrees chosen; the field in the other degrees is there but empty, so that the address holds one of them."""
    name = temperature_field_name()
    other = "c" if name == "f" else "f"
    usual = {"c": f"{USUAL_C:g}", "f": fahrenheit_text(f"{USUAL_C:g}")}[name]
    value = asked[name] or (asked[other] and {"c": celsius_text, "f": fahrenheit_text}[name](asked[other])) or usual
    unused = html.Span([dcc.Input(type="hidden", name=other, value=""), html.Span(id=f"cutoff-{other}-problem")], hidden=True)
    return [number_field(name, f"Pack temperature, {degrees()}", value, prefix="cutoff", problem=wrong.get(name)), unused]


def result(plan: CutoffPlan) -> Component:
    """The advice and why, and the pictures."""
    return html.Div([advice(plan), html.Div([chart(plan), ladder(plan)], className="pictures")])


def rest(plan: CutoffPlan) -> Component:
    """The present controllers, and what to heed."""
    parts: list[Component] = [present_section(plan)]
    if plan.findings:
        parts.append(
            html.Section([html.H2("What to do about it"), finding_list(grouped(plan.findings), packs={plan.task.pack}, open_first=6)])
        )  # fmt: skip
    parts.append(html.Section([html.H2("Before you rely on it"), html.Ul([html.Li(line) for line in CAUTIONS], className="heed")]))
    return html.Div(parts)


def advice(plan: CutoffPlan) -> Component:
    """The cutoff in large figures, why, and what it leaves."""
    choice = plan.recommended
    if choice is None:
        headline = html.P("No cutoff is safe enough under this load", className="headline")
    else:
        headline = html.P([html.Strong(volts(choice.pack_v)), f" for the pack, {volts(choice.cell_v)} a cell"], className="headline")
    return html.Section(
        [
            html.H2("Let go at" if choice is not None else "No advice", id="advice"),
            headline,
            html.P(unbroken(plan.reason), className="reading"),
            html.Dl([html.Div([html.Dt(term), html.Dd(value)]) for term, value in facts(plan)], className="facts"),
            html.P("± spans, and those in brackets, hold the true value nine times in ten.", className="quiet"),
        ],
        role="status",
        **aria(labelledby="advice"),
    )


def facts(plan: CutoffPlan) -> list[tuple[str, str]]:
    """Term and value of each line under the advice."""
    lines = []
    if plan.recommended is not None:
        choice = plan.recommended
        lines += [
            ("Risk at it", f"{risk(choice.below_floor_probability)} of runs"),
            ("Leaves to use", quantity_text(choice.usable_ah, "charge")),
            ("Run time until it lets go", quantity_text(choice.run_s, "minutes")),
        ]
    left = percent(plan.reserve_soc)
    timer = (
        f"{number(plan.timer_s.value / 60, 1)}{NB}min, then {left} are left"
        if isinstance(plan.timer_s, Estimate)
        else unbroken(plan.timer_s.why)
    )
    guessed = ", guessed" if plan.load.guessed else ""
    return [
        *lines,
        ("Set the timer to" if isinstance(plan.timer_s, Estimate) else "Timer", timer),
        ("Load reckoned with", f"{quantity_text(plan.load.mean_a, 'amps')}, {_burst(plan)} in bursts{guessed}"),
        ("Pack", f"{temperature(plan.task.pack_k)}, " + ("by its own history" if plan.learned else "as is typical of its chemistry")),
    ]


def chart(plan: CutoffPlan) -> Component:
    """Risk and run time against cutoff."""
    columns, rows = cutoff_curve.cutoff_table(plan)
    return html.Section(
        [
            html.H2("What each cutoff risks and leaves"),
            figure_frame(
                graph("cutoff-curve", cutoff_curve.cutoff_figure(plan), cutoff_curve.HEIGHT_PX),
                cutoff_curve.cutoff_sentence(plan),
                folded_table("Risk, charge and run time of each cutoff", columns, rows),
                description=f"Chart of risk and run time against the cutoff. {cutoff_curve.cutoff_sentence(plan)}",
            ),
        ]
    )


def ladder(plan: CutoffPlan) -> Component:
    """Every controller on the way from full to floor."""
    columns, rows = voltage_ladder.ladder_table(plan)
    return html.Section(
        [
            html.H2("From full to floor"),
            figure_frame(
                graph("cutoff-ladder", voltage_ladder.ladder_figure(plan), voltage_ladder.HEIGHT_PX),
                voltage_ladder.ladder_sentence(plan),
                folded_table("Rungs of the ladder", columns, rows),
                description=f"Ladder of voltages from full to floor. {voltage_ladder.ladder_sentence(plan)}",
            ),
        ]
    )


def hint() -> Component:
    """Before both are chosen."""
    return html.P("Choose a pack and a model above. The rest is filled in with what is usual.", className="empty")


def refused(message: str) -> Component:
    """Why there is no answer."""
    return html.P([html.Strong("No answer: "), unbroken(message[:1].upper() + message[1:])], className="notice-line", role="alert")


def nothing_yet(packs: Sequence[Pack]) -> Component:
    """No pack, or no model, is described yet."""
    missing = "models" if packs else "packs"
    steps = FIRST_STEPS if not packs else (("Bring in models and controllers", "pack-tracker import FOLDER"),)
    add = [("Add a controller", change_address("controller")), ("Add a model", change_address("vehicle"))]
    links = add if packs else [("Add a pack", change_address("pack")), *add]
    return html.Div(
        [
            html.H1(TITLE, tabIndex=-1),
            html.P(PURPOSE, className="reading"),
            empty_state(f"No {missing} yet", "A cutoff is told for a pack and the model it runs in.", steps, links=links),
            html.P(dcc.Link("See the controllers", href=CONTROLLERS_PATH)),
        ]
    )


def filled(asked: dict[str, str], packs: Sequence[Pack], vehicles: Sequence[Vehicle]) -> dict[str, str]:
    """What is asked, with the only pack and the only model taken for chosen."""
    only: dict[str, list[str]] = {"pack": [pack.name for pack in packs], "vehicle": [vehicle.name for vehicle in vehicles]}
    return asked | {name: names[0] for name, names in only.items() if not asked[name] and len(names) == 1}


def _with(options: list[tuple[str, str]], chosen: str) -> list[tuple[str, str]]:
    """The options, with what the address chose among them, so that the list does not show something else."""
    return options if not chosen or any(value == chosen for value, _ in options) else [*options, (chosen, chosen)]


def _as_risk(text: str) -> str:
    try:
        return f"{100 * float(text):g}{NB}% of runs"
    except ValueError:
        return text


def _burst(plan: CutoffPlan) -> str:
    burst = plan.load.burst_a
    return interval(burst, "amps") if isinstance(burst, Estimate) else quantity_text(burst, "amps")
