"""Controllers: how they are set, what the bench shows, a bench test taken step by step, and moving a trip point."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from typing import Any

from dash import ClientsideFunction, Dash, Input, Output, State, dcc, html, no_update
from dash.development.base_component import Component

from dashboard.addresses import CONTROLLERS_PATH, CUTOFF_PATH
from dashboard.components.bench_recorder import STEPS, TAPS, Noted, recorder, so_far, steps_list
from dashboard.components.controller_list import controller_list
from dashboard.components.divider_answer import divider_answer
from dashboard.components.empty import actions, empty_state
from dashboard.components.form import (
    asked_in,
    asking_form,
    choice_field,
    number_field,
    problem_outputs,
    problem_texts,
    texts_of,
    words_field,
)
from dashboard.components.shelf import ADD, model_list, test_list
from dashboard.components.terms import terms_fold
from dashboard.needs import Services
from dashboard.theme import interval, unbroken
from tracker.domain.bench import BenchResult
from tracker.domain.controller import Controller
from tracker.domain.divider import PLACE_WORDS, SERIES
from tracker.domain.results import Estimate
from tracker.domain.session import BenchReading, BenchTest
from tracker.errors import FieldErrors, InputError, TrackerError
from tracker.services.asking import divider_task, supply_voltage

PATH, TITLE, MENU = CONTROLLERS_PATH, "Controllers", True
PURPOSE = "What each controller is set to, where the bench has shown it to let go and run again, and which of them hang on one pack."
BENCH, DIVIDER = ("controller",), ("top", "bottom", "ratio", "trips", "wanted", "series", "place", "tolerance", "reference", "within")
COLUMN_FIELDS = {"trips_at": "trips", "part_tolerance": "tolerance", "reference_tolerance": "reference", "bench_within": "within"}
"""Fields that the services name otherwise than the address."""
ALTERING = (
    "Only for a controller whose cutoff cannot be set. It ends the warranty and is for those who can solder fine-pitch parts; the maker's "
    "instructions come first. Measure first where it lets go, with a bench test."
)


def layout(services: Services, /, **query: str) -> Component:
    """The page for what stands in the address."""
    controllers = services.controllers.all()
    chosen = texts_of(query, BENCH)["controller"]
    asked = texts_of(query, DIVIDER)
    answer, problems = moved(services, asked)
    return html.Div(
        [
            html.H1(TITLE, tabIndex=-1),
            html.P([PURPOSE, " ", dcc.Link("Where they should let go", href=CUTOFF_PATH)], className="reading"),
            html.P(
                [
                    *([html.A("Take a bench test", href="#bench")] if controllers else []),
                    html.A("Move a trip point", href="#divider"),
                    html.A("Models", href="#models"),
                ],
                className="jumps",
            ),
            terms_fold("Trip", "Runs again", "Drift", "Cutoff", "Sense divider", "Values to choose from"),
            html.Div(overview(services), id="controllers-list"),
            bench(controllers, chosen) if controllers else None,
            html.Section(
                [
                    html.H2("Move a trip point", id="divider"),
                    html.P(ALTERING, className="notice-line"),
                    divider_form(asked, problems),
                    html.Div(answer, id="divider-answer", className="answer"),
                ]
            ),
        ]
    )


def connect(app: Dash, services: Services) -> None:
    """The recorder's taps, what they come to, saving, and the answer to the form for moving a trip point."""
    told: Any = app.clientside_callback
    told(
        ClientsideFunction(namespace="bench", function_name="tapped"),
        [Output("bench-supply", "value"), Output("bench-steps", "data")],
        [Input(name, "n_clicks") for name in (*(name for name, _ in STEPS), *TAPS)],
        [State("bench-supply", "value"), State("bench-steps", "data"), State("bench-chosen", "data")],
        prevent_initial_call=True,
    )

    @app.callback(
        [Output("bench-chosen", "data"), Output("bench-fields", "children")], Input("bench-asked", "data"), prevent_initial_call=True
    )
    def choose(asked: dict[str, Any]) -> list[Any]:
        chosen = asked_in(asked, BENCH)["controller"]
        return [chosen, bench_fields(services.controllers.all(), chosen) if asked["back"] else no_update]

    @app.callback(
        [Output("bench-list", "children"), Output("bench-so-far", "children")], Input("bench-steps", "data"), Input("bench-chosen", "data")
    )
    def show_steps(kept: dict[str, Any] | None, chosen: str) -> list[Any]:
        noted = noted_steps(kept, chosen)
        return [steps_list(noted), so_far(judged(services, chosen, noted), noted)]

    @app.callback(
        [Output("bench-said", "children"), Output("bench-steps", "data", allow_duplicate=True), Output("controllers-list", "children")],
        Input("bench-save", "n_clicks"),
        State("bench-steps", "data"),
        State("bench-chosen", "data"),
        prevent_initial_call=True,
    )
    def save(_clicks: int, kept: dict[str, Any] | None, chosen: str) -> list[Any]:
        said, stored = saved(services, chosen, noted_steps(kept, chosen), datetime.now(UTC))
        if not stored:
            return [said, no_update, no_update]
        return [said, {name: steps for name, steps in (kept or {}).items() if name != chosen}, overview(services)]

    @app.callback(
        [Output("divider-answer", "children"), Output("divider-fields", "children"), *problem_outputs("divider", DIVIDER)],
        Input("divider-asked", "data"),
        prevent_initial_call=True,
    )
    def show_divider(asked: dict[str, Any]) -> list[Any]:
        texts = asked_in(asked, DIVIDER)
        answer, problems = moved(services, texts)
        fields = divider_fields(texts, problems) if asked["back"] else no_update
        return [answer, fields, *problem_texts(problems, DIVIDER)]


def overview(services: Services) -> Component:
    """All controllers, or how to bring some in."""
    controllers = services.controllers.all()
    if not controllers:
        steps = (
            ("Look at an invented club's controllers", "pack-tracker demo"),
            ("Bring in a controllers file", "pack-tracker import FOLDER"),
        )
        words = "Here stand controllers, how they are set and what the bench shows of them."
        return html.Div([empty_state("No controllers yet", words, steps, links=ADD), *_models(services)])
    listed = controller_list(controllers, services.controllers.vehicles(), services.controllers.bench())
    tests = test_list({controller.name: services.controllers.tests(controller.name) for controller in controllers})
    return html.Div([html.Section([html.H2("As set, and as the bench shows"), actions(ADD), listed, tests]), *_models(services)])


def _models(services: Services) -> list[Component]:
    """The models; nothing while there is neither a model nor a controller."""
    vehicles = services.controllers.vehicles()
    return [model_list(vehicles)] if vehicles or services.controllers.all() else []


def bench(controllers: Sequence[Controller], chosen: str) -> Component:
    """Choosing a controller, and the recorder."""
    form = asking_form(bench_fields(controllers, chosen), prefix="bench", page=PATH)
    return html.Section(
        [
            html.H2("Take a bench test", id="bench"),
            form,
            dcc.Store(id="bench-chosen", data=chosen),
            # Kept by the browser until saved: a reload or a look at another page loses nothing.
            dcc.Store(id="bench-steps", storage_type="session"),
            recorder(),
        ]
    )


def bench_fields(controllers: Sequence[Controller], chosen: str) -> list[Component]:
    """The controller that is tested."""
    names = [(one.name, one.name) for one in controllers]
    return [choice_field("controller", "Controller on the bench", names, chosen, prefix="bench", empty="Choose a controller")]


def noted_steps(kept: Mapping[str, Any] | None, chosen: str) -> list[Noted]:
    """The steps of this controller as the browser kept them, each read or with what is wrong with it."""
    noted = []
    for text, running in (kept or {}).get(chosen) or []:
        try:
            noted.append(Noted(str(text), bool(running), supply_voltage(str(text))))
        except InputError as problem:
            noted.append(Noted(str(text), bool(running), None, str(problem)))
    return noted


def judged(services: Services, chosen: str, noted: Sequence[Noted]) -> BenchResult | None:
    """What the steps show so far; None while there are too few of them."""
    readings = _readings(noted)
    if len(readings) < 2:
        return None
    return services.controllers.preview_bench(BenchTest(controller=chosen, tested_at=datetime.now(UTC), readings=readings))


def saved(services: Services, chosen: str, noted: Sequence[Noted], now: datetime) -> tuple[Component, bool]:
    """Store the test; what is said of it, and whether it was stored."""
    try:
        if not chosen:
            raise InputError("No controller is chosen; choose the one on the bench above.")
        if faulty := [step for step in noted if step.problem]:
            raise InputError(f"One step cannot be read: {faulty[-1].problem} Undo it first.")
        test = BenchTest(controller=chosen, tested_at=now.replace(microsecond=0), readings=_readings(noted))
        result = services.controllers.log_bench(test)
    except FieldErrors as wrong:
        return html.P([html.Strong("Not saved. "), unbroken(" ".join(wrong.problems.values()))], className="problem"), False
    except TrackerError as error:
        return html.P([html.Strong("Not saved. "), unbroken(str(error))], className="problem"), False
    trip = f" All its tests together: lets go at {interval(result.trip_v, 'volts')}." if isinstance(result.trip_v, Estimate) else ""
    return html.P([html.Strong("Saved."), trip]), True


def divider_form(asked: Mapping[str, str], problems: Mapping[str, str]) -> Component:
    """The divider as far as it is known, and where it shall let go."""
    return asking_form(divider_fields(asked, problems), button="Find the resistor", prefix="divider", page=PATH)


def divider_fields(asked: Mapping[str, str], problems: Mapping[str, str]) -> list[Component]:
    """The fields with what is given in them."""

    def number(name: str, label: str, hint: str = "") -> Component:
        return number_field(name, label, asked[name], prefix="divider", problem=problems.get(name), hint=hint)

    def part(name: str, label: str, hint: str) -> Component:
        return words_field(name, label, asked[name], prefix="divider", problem=problems.get(name), hint=hint)

    places = [(place, words[:1].upper() + words[1:]) for place, words in PLACE_WORDS.items()]
    series = [(name, name) for name in SERIES]
    finer = [
        choice_field(
            "place", "Where to add it", places, asked["place"], prefix="divider", empty="Best place", problem=problems.get("place")
        ),
        number("tolerance", "Resistors within, %", "empty: 1"),
        number("reference", "Its own voltage within, %", "empty: 1"),
        number("within", "Bench reading within, V", "empty: 0.05"),
    ]
    opened = any(asked[name] for name in ("place", "tolerance", "reference", "within"))
    return [
        part("top", "Top resistor, Ω", "pack plus to tap, such as 10k or 4k7"),
        part("bottom", "Bottom resistor, Ω", "tap to pack minus"),
        number("ratio", "Or top over bottom", "where a part is not known"),
        number("trips", "Lets go now at, V", "by a bench test"),
        number("wanted", "Shall let go at, V", "of the whole pack"),
        choice_field("series", "Values to choose from", series, asked["series"] or "E24", prefix="divider", problem=problems.get("series")),
        html.Details(
            [html.Summary("Where to add it, and how exact the parts are"), html.Div(finer, className="fields")],
            className="finer",
            open=opened,
        ),
    ]


def moved(services: Services, asked: Mapping[str, str]) -> tuple[Component | None, Mapping[str, str]]:
    """The resistor, or why there is none, and what is wrong with which field; nothing before anything is given."""
    if not any(asked[name] for name in ("top", "bottom", "ratio", "trips", "wanted")):
        return None, {}
    try:
        return divider_answer(services.planning.divider(divider_task(asked))), {}
    except FieldErrors as wrong:
        problems = {COLUMN_FIELDS.get(name, name): words for name, words in wrong.problems.items()}
        if set(problems) <= set(DIVIDER):
            return _refused("Fill in or correct what is marked above."), problems
        return _refused(" ".join(problems.values())), problems
    except TrackerError as error:
        return _refused(str(error)), {}


def _readings(noted: Sequence[Noted]) -> tuple[BenchReading, ...]:
    return tuple(BenchReading(supply_v=step.supply_v, running=step.running) for step in noted if step.supply_v is not None)


def _refused(message: str) -> Component:
    return html.P([html.Strong("No answer: "), unbroken(message[:1].upper() + message[1:])], className="notice-line", role="status")
