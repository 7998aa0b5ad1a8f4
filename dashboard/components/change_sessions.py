"""What can be written down of a run, a charge and a bench test: each field with its words."""

from __future__ import annotations

from dashboard.components.change_words import Field, Form, Group

EACH_OR_ALL = "One number is the pack's total; as many as it has cells, with spaces between, are the cells from its negative end."
PACK = Field(column="pack", entry="choice", label="Pack", needed=True, choices="packs")
WARMTH = Field(column="pack_c", entry="number", label="Pack temperature, °C", hint="Of the pack itself at the start; the air's will do.")
NOTES = Field(column="notes", entry="notes", label="Notes")

RUN = Form(
    kind="run",
    noun="run",
    verb="Write down",
    about="One drive on one pack. Only the pack, the time and the minutes are needed; each reading more makes the answer surer.",
    groups=(
        Group(
            heading="What was driven",
            fields=(
                PACK,
                Field(column="vehicle", entry="choice", label="Model", choices="vehicles", empty="Not recorded"),
                Field(column="started_at", entry="time", label="Started at", needed=True),
                Field(column="run_min", entry="number", label="Ran for, min", needed=True, hint="Minutes with the motor in use, such as 14 or 12.5."),
            ),
        ),
        Group(
            heading="What was read",
            fields=(
                Field(column="before_v", entry="number", label="Before, V", hint=f"At rest, before it was plugged in. {EACH_OR_ALL}"),
                Field(column="after_v", entry="number", label="After, V", hint="At rest, after the run; written in the same way. The cells one by one say most."),
                Field(
                    column="rest_after_min", entry="number", label="Rested before that reading, min",
                    hint="From the end of the run until the voltages after it were read. Ten or more is good: a voltage still climbs back after load.",
                ),
                Field(column="used_mah", entry="number", label="Meter in the model, mAh", hint="What a current meter on board counted, where there is one."),
                Field(column="ended_by", entry="choice", label="What ended it", choices="endings", empty="Not recorded"),
                NOTES,
            ),
        ),
    ),
    more=(
        Field(column="rest_before_min", entry="number", label="Rested before the start, min", hint="From the end of the charge, or of the run before, until the voltages before it were read."),
        Field(column="loaded_v", entry="number", label="Lowest under load, V", hint="The lowest voltage seen while driving; one number, or one for each cell."),
        Field(column="loaded_a", entry="number", label="Current at that moment, A"),
        Field(column="mean_a", entry="number", label="Mean current, A", hint="Over the whole run, where something logged it."),
        Field(
            column="cutoff_v", entry="number", label="Cutoff as driven, V",
            hint="Where the model's controllers were set to let go, in their order, with spaces between. Empty: as they are set now. A run that names them keeps them.",
        ),
        WARMTH,
    ),
)  # fmt: skip

CHARGE = Form(
    kind="charge",
    noun="charge",
    verb="Write down",
    about="One charge of one pack. What the charger put back teaches most of all readings what the pack holds.",
    groups=(
        Group(
            heading="What was charged",
            fields=(
                PACK,
                Field(column="finished_at", entry="time", label="Finished at", needed=True),
                Field(column="put_back_mah", entry="number", label="Put back, mAh", hint="What the charger shows at the end."),
                Field(
                    column="goal", entry="choice", label="Charged to", choices="goals", empty="Not recorded",
                    hint="Storage is the part charge at which a lithium pack keeps best while it is not used.",
                ),
                Field(column="end_v", entry="number", label="Voltage at the end, V", hint=EACH_OR_ALL),
                NOTES,
            ),
        ),
    ),
    more=(
        Field(
            column="cell_mohm", entry="number", label="Resistance of each cell, mΩ",
            hint="As the charger or a meter shows it, all cells from the negative end with spaces between. It rises as a cell ages.",
        ),
        WARMTH,
    ),
)  # fmt: skip

BENCH = Form(
    kind="bench",
    noun="bench test",
    verb="Write down",
    about="Readings of one controller on a bench supply that is turned slowly down and up: they show where it really lets go.",
    groups=(
        Group(
            heading="What was tested",
            fields=(
                Field(column="controller", entry="choice", label="Controller", needed=True, choices="controllers"),
                Field(column="tested_at", entry="time", label="Tested at", needed=True),
                Field(
                    column="readings", entry="lines", label="Readings",
                    hint="One a line, in the order taken: the voltage of the supply, in volts, and what the motor did, such as 6.55 running or 6.45 stopped.",
                ),
            ),
        ),
    ),
)  # fmt: skip
