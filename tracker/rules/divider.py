"""What to heed when a controller is altered so that it lets go elsewhere: always, and with this part in this place."""

from __future__ import annotations

from collections.abc import Iterator

from tracker.domain.divider import PLACE_WORDS, DividerPlan

ALTERING = (
    "Altering a controller ends its warranty and is for those who can solder fine-pitch parts; in doubt ask someone qualified. The maker's "
    "instructions and local rules come first: a controller whose cutoff can be set is set, not soldered."
)
UNPLUGGED = "Take the pack off before the board is touched, and keep it off until the bench test is done."
BENCH_AFTER = (
    "Nothing of this holds until a bench test shows it: measure trip and restart on a supply with its current limited, several times, before a "
    "pack is connected ('pack-tracker bench'), and again after a crash or a repair."
)
HAND_SIZES = "Parts of size 0805 or 0603 can be handled with a fine tip; smaller ones hardly. Common practice."

SIZE_0603_W = 0.1
"""What a 0603 chip resistor may turn into heat. From memory."""
HIGH_OHM = 1e6
"""From here on damp and flux conduct enough beside a part to matter. From memory."""
USUAL_REFERENCE_V = (0.2, 5.5)
"""Between these lie the references and thresholds of small circuits. From memory."""

_IF_IT_FAILS = {
    "across_bottom": "If its joint breaks, the trip falls back to where it was, and nothing shows it",
    "across_top": "If its joint breaks, the trip rises back to where it was",
    "series_top": "If its joint breaks, the controller lets go at once and stays off",
    "series_bottom": "If its joint breaks, the controller never lets go, and its input sees the whole pack, which may destroy it",
}


def divider_cautions(plan: DividerPlan) -> tuple[str, ...]:
    """Return what to heed, most pressing first."""
    return (ALTERING, UNPLUGGED, BENCH_AFTER, *_of_this(plan))


def _of_this(plan: DividerPlan) -> Iterator[str]:
    if plan.add == "none":
        yield f"The trip is at {plan.task.trips_at_v:.2f} V already: add nothing."
        return
    yield _shifts(plan)
    yield from _lower(plan)
    yield from _to_measure(plan)
    yield from _size(plan)
    yield f"{_IF_IT_FAILS[plan.add]}: fix the part so that shaking does not break it, and test it again from time to time."
    if plan.add.startswith("series"):
        yield f"A resistor {PLACE_WORDS[plan.add]} needs that part lifted on one side or its trace cut; one across a part does not."
    yield from _doubts(plan)


def _shifts(plan: DividerPlan) -> str:
    seen = plan.task.trips_at_v / plan.trip_v
    full_v = 8.4
    return (
        f"Everything else that reads this divider shifts as well, by a factor of {1 / seen:.3f}: where it takes hold again, a voltage read-out, "
        f"an over-voltage limit, the counting of cells. {full_v:.2f} V will be taken for {full_v * seen:.2f} V; a controller that counts cells may "
        "count wrong."
    )


def _lower(plan: DividerPlan) -> Iterator[str]:
    if plan.task.wanted_v < plan.task.trips_at_v:
        yield (
            "A lower trip lets packs go deeper. Keep it above the floor of every cell of every pack that is driven on this controller, with margin "
            "for the weakest cell."
        )
    worst = plan.as_tested.worst_low_v
    if worst < plan.task.wanted_v:
        higher = plan.not_below
        choice = (
            f" {_ohms(higher.added_ohm)} gives {higher.trip_v:.2f} V and is the nearest that does not lie below."
            if higher is not None and higher != plan.chosen
            else ""
        )
        yield f"With all parts at their limits this one lets go at {worst:.2f} V, below the {plan.task.wanted_v:.2f} V wanted.{choice}"


def _to_measure(plan: DividerPlan) -> Iterator[str]:
    if plan.ideal_ohm is not None or plan.ideal_ratio is None:
        return
    part = "bottom" if plan.add.endswith("bottom") else "top"
    yield (
        f"Only the ratio of the parts is known, so the resistor is known only as {plan.ideal_ratio:.4g} times the {part} one. Measure that one: with "
        "the pack off, and lifted on one side, for in the circuit other parts lie across it and it reads low; or read the marking on it. Then "
        f"ask again with --{part}."
    )
    moved, missing = "(its trip - the trip now)", "(the wanted trip - the trip now)"
    share = {"across_bottom": f"{moved} / {missing}", "series_top": f"{missing} / {moved}"}.get(plan.add)
    if share is not None:
        yield (
            "Or find it by trial: put in any resistor of about the right size at the same place and test on the bench. The one wanted is that one "
            f"times {share}."
        )


def _size(plan: DividerPlan) -> Iterator[str]:
    if plan.most_power_w is None or plan.chosen is None:
        return
    heat = f"It turns up to {1000 * plan.most_power_w:.2g} mW into heat on a full pack"
    if plan.most_power_w > SIZE_0603_W / 2:
        yield f"{heat}; a part of size 0603 stands about {1000 * SIZE_0603_W:.0f} mW (from memory): choose a larger one. {HAND_SIZES}"
    else:
        yield f"{heat}, which any chip resistor stands. {HAND_SIZES}"


def _doubts(plan: DividerPlan) -> Iterator[str]:
    low, high = USUAL_REFERENCE_V
    if not low <= plan.reference_v <= high:
        yield (
            f"The voltage it compares with works out as {plan.reference_v:.3g} V, and such circuits mostly compare with {low:g} to {high:g} V (from "
            "memory): look whether top and bottom are exchanged, and whether these are the parts."
        )
    if plan.chosen is not None and plan.chosen.added_ohm > HIGH_OHM:
        yield (
            f"{_ohms(plan.chosen.added_ohm)} is so much that flux and damp beside it shift the trip: wash the board and seal it (from memory)."
        )
    bottom = plan.task.bottom_ohm
    if bottom is not None and bottom * (1.0 + plan.task.ratio) > HIGH_OHM:
        yield (
            "The parts are so large that the current into the controller's input, which is neglected here, may shift the trip: go by the bench "
            "test alone."
        )


def _ohms(value_ohm: float) -> str:
    for size, unit in ((1e6, "MΩ"), (1e3, "kΩ")):
        if value_ohm >= size:
            return f"{value_ohm / size:.4g} {unit}"
    return f"{value_ohm:.4g} Ω"
