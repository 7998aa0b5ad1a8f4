"""Controllers as they are set and as the bench has shown them, and which of them hang on one pack."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from dash import html
from dash.development.base_component import Component

from dashboard.addresses import change_address
from dashboard.components.finding import finding_list, grouped
from dashboard.components.marks import name_text
from dashboard.components.table import Cell, card_table, change_link
from dashboard.theme import counted, day, interval, percent, unbroken, volts
from tracker.domain.bench import BenchResult
from tracker.domain.controller import Controller, Vehicle
from tracker.domain.results import Estimate, Quantity

COLUMNS = ["Controller", "Set to let go at", "Lets go on the bench", "Runs again", "Drift", "Tested", "In models", "Change"]
NOT_KNOWN = "not recorded"
URGENCY = ("stop", "caution", "note")


def controller_list(controllers: Sequence[Controller], vehicles: Sequence[Vehicle], tested: Sequence[BenchResult]) -> Component:
    """The table, who shares a pack with whom, and what the tests give cause to say."""
    results = {result.controller: result for result in tested}
    parts: list[Component] = [
        card_table("Controllers", COLUMNS, [_row(one, results.get(one.name), vehicles) for one in controllers]),
        html.P("± spans hold the true value nine times in ten.", className="quiet"),
    ]
    shared = [vehicle for vehicle in vehicles if len(vehicle.controllers) > 1]
    if shared:
        by_name = {one.name: one for one in controllers}
        lines = [html.Li(_shared(vehicle, by_name, results)) for vehicle in shared]
        parts += [html.H3("On the same pack", className="apart"), html.Ul(lines, className="heed")]
    findings = sorted((one for result in tested for one in result.findings), key=lambda one: URGENCY.index(one.severity))
    if findings:
        parts += [html.H3("What the tests show", className="apart"), finding_list(grouped(findings), open_first=4, heading=html.H4)]
    return html.Div(parts)


def setting_words(controller: Controller) -> str:
    """Where a controller is set to let go."""
    if controller.cutoff_mode == "none":
        return "no cutoff"
    if controller.cutoff_v is None:
        return NOT_KNOWN
    return f"{volts(controller.cutoff_v)} {'a cell' if controller.cutoff_mode == 'cell_v' else 'of the pack'}"


def trip_words(result: BenchResult) -> str:
    """Where the bench saw it let go, or that it did not."""
    if isinstance(result.trip_v, Estimate):
        return interval(result.trip_v, "volts")
    return unbroken(result.trip_v.why)


def restart_words(result: BenchResult) -> str:
    """Where it ran again, or that it stays off until it is unplugged."""
    if result.latches:
        return "stays off until unplugged"
    return interval(result.restart_v, "volts") if isinstance(result.restart_v, Estimate) else "not tried"


def _row(controller: Controller, result: BenchResult | None, vehicles: Sequence[Vehicle]) -> list[Cell]:
    carried = [vehicle.name for vehicle in vehicles if controller.name in vehicle.controllers]
    models = listed(carried) if carried else "none"
    part = controller.load_share
    share = f", {percent(part)} of the load" if part is not None and part < 1 and carried else ""
    name = name_text(controller.name)
    change = change_link(change_address("controller", controller.name), controller.name)
    if result is None:
        again = NOT_KNOWN if controller.restart_v is None else f"set to {volts(controller.restart_v)}"
        return [name, setting_words(controller), "not tested", again, NOT_KNOWN, NOT_KNOWN, html.Span([models, share]), change]
    return [
        name,
        setting_words(controller),
        trip_words(result),
        restart_words(result),
        _or_not(result.drift_v),
        html.Span([_tested_words(result), *_earlier(result)]),
        html.Span([models, share]),
        change,
    ]


def _tested_words(result: BenchResult) -> str:
    when = f"{day(result.tested_at)}, " if result.tested_at else ""
    restless = f", restless in {counted(result.restless, 'sweep')}" if result.restless else ""
    return f"{when}let go {counted(result.trips, 'time')}{restless}"


def _earlier(result: BenchResult) -> list[Component]:
    return [
        html.Small(f"{day(one.tested_at)}: {interval(one.trip_v, 'volts')}", className="why-not")
        for one in result.earlier[-3:]
        if isinstance(one.trip_v, Estimate)
    ]


def _shared(vehicle: Vehicle, controllers: Mapping[str, Controller], results: Mapping[str, BenchResult]) -> list[Component | str]:
    """Who hangs on one pack, and whose trip decides."""
    said: list[Component | str] = [name_text(vehicle.name), ": ", listed(vehicle.controllers), ". "]
    carried = [controllers[name] for name in vehicle.controllers if name in controllers]
    never = [one.name for one in carried if one.cutoff_mode == "none"]
    if never:
        return [*said, listed(never), f" never let{'s' if len(never) == 1 else ''} go, so nothing but the driver ends a run."]
    trips = {one.name: _lets_go(one, results.get(one.name)) for one in carried}
    known = {name: at for name, at in trips.items() if at is not None}
    if len(known) < len(carried) or not known:
        return [*said, "The lowest trip decides, not the highest."]
    lowest = min(known, key=lambda name: known[name])
    return [*said, "The lowest trip decides: ", name_text(lowest), f" at {volts(known[lowest])}."]


def _lets_go(controller: Controller, result: BenchResult | None) -> float | None:
    """Of the pack; None where that depends on the pack or is not known."""
    if controller.cutoff_mode != "pack_v":
        return None
    if result is not None and isinstance(result.trip_v, Estimate):
        return result.trip_v.value
    return controller.cutoff_v


def _or_not(quantity: Quantity) -> str:
    return interval(quantity, "volts") if isinstance(quantity, Estimate) else NOT_KNOWN


def listed(names: Sequence[str]) -> Component:
    """Names in a row, with "and" before the last."""
    parts: list[Component | str] = []
    for place, name in enumerate(names):
        if place:
            parts.append(" and " if place == len(names) - 1 else ", ")
        parts.append(name_text(name))
    return html.Span(parts)
