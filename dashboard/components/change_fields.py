"""What can be written down of a pack, a model and a controller, each field with its words; and every kind of form by its name."""

from __future__ import annotations

from collections.abc import Mapping

from dashboard.components.change_sessions import BENCH, CHARGE, NOTES, RUN
from dashboard.components.change_words import Field, Form, Group
from tracker.domain.changes import Kind

PACK = Form(
    kind="pack",
    noun="pack",
    about="A battery pack as its label describes it. Its runs and charges are written down under its name.",
    groups=(
        Group(
            heading="What it is",
            fields=(
                Field(column="pack", entry="words", label="Name", needed=True, hint="As it is called in the box, such as Tug 1. It can be changed later."),
                Field(
                    column="chemistry", entry="choice", label="Chemistry", needed=True, choices="chemistries",
                    hint="What its cells are made of, as printed on it. In the list: the voltage of one cell by name, and when it is full.",
                ),
                Field(
                    column="series", entry="number", label="Cells in series", needed=True,
                    hint="How many cells its voltage is made of: the 3 of “3S”, or the wires of the balance lead less one.",
                ),
                Field(column="capacity_mah", entry="number", label="Rated capacity, mAh", needed=True, hint="The charge it held when new, as printed on it."),
            ),
        ),
    ),
    more=(
        Field(column="parallel", entry="number", label="Cells in parallel", hint="The 2 of “2P”; empty: 1. Cells side by side count as one cell everywhere here."),
        Field(
            column="continuous_c", entry="number", label="Continuous discharge, C",
            hint="As printed on it: 30 for “30C”, the current it is rated for in multiples of its capacity an hour.",
        ),
        Field(column="acquired_on", entry="day", label="In use since"),
        NOTES,
    ),
)  # fmt: skip

VEHICLE = Form(
    kind="vehicle",
    noun="model",
    about="A boat, car, truck or anything else that runs on a pack, with the speed controllers in it.",
    groups=(
        Group(
            heading="What it is",
            fields=(
                Field(column="vehicle", entry="words", label="Name", needed=True, hint="Such as Harbour tug. It can be changed later."),
                Field(
                    column="controllers", entry="several", label="Controllers in it", choices="controllers",
                    hint="The speed controllers that hang on its pack. One that is not in the list has to be added first.",
                ),
                Field(
                    column="usual_a", entry="number", label="Usual current, A",
                    hint="Mean of a usual run. Empty: it is learned from the runs.",
                ),
                NOTES,
            ),
        ),
    ),
    more=(
        Field(
            column="lead_mohm", entry="number", label="Resistance of the leads, mΩ",
            hint="Leads and connectors between pack and controllers, out and back. Some milliohms; empty: as is usual.",
        ),
    ),
)  # fmt: skip

CONTROLLER = Form(
    kind="controller",
    noun="controller",
    about="A speed controller, and where it is set to let go so that the pack is not driven empty.",
    groups=(
        Group(
            heading="What it is set to",
            fields=(
                Field(column="controller", entry="words", label="Name", needed=True, hint="Such as left-track. It can be changed later."),
                Field(
                    column="cutoff_mode", entry="choice", label="It lets go", needed=True, choices="modes",
                    hint="Its cutoff: letting go is stopping the motor because the voltage is too low.",
                ),
                Field(
                    column="cutoff_v", entry="number", label="Cutoff, V",
                    hint="Where it lets go as set: of the whole pack or of one cell, as chosen above. Empty when it never does.",
                ),
                NOTES,
            ),
        ),
    ),
    more=(
        Field(column="restart_v", entry="number", label="Takes hold again at, V", hint="Where the motor runs again as the voltage comes back, as set; counted like the cutoff."),
        Field(
            column="load_share", entry="number", label="Share of the load, 0 to 1",
            hint="The part of the model's current that runs through it: 0.5 for one of two alike. Empty: shared evenly.",
        ),
        Field(
            column="powers_receiver", entry="choice", label="Feeds the receiver", choices="yes_no", empty="Not recorded",
            hint="Whether the receiver, which hears the transmitter, gets its current through this controller.",
        ),
    ),
)  # fmt: skip

FORMS: Mapping[Kind, Form] = {form.kind: form for form in (PACK, VEHICLE, CONTROLLER, RUN, CHARGE, BENCH)}

MODE_WORDS = {"pack_v": "at a voltage of the whole pack", "cell_v": "at a voltage of each cell", "none": "never"}
YES_NO_WORDS = {"yes": "yes", "no": "no"}

MEANINGS = {"pack_v": MODE_WORDS["pack_v"], "cell_v": MODE_WORDS["cell_v"]}
"""Words of the logbook's files that a refusal may name, as they are called here."""
