"""What the words of a page mean, folded away where they first appear."""

from __future__ import annotations

from dash.development.base_component import Component

from dashboard.components import elements as html
from dashboard.theme import unbroken

TERMS: dict[str, str] = {
    "Pack and cell": "A pack is several cells, mostly in series: their voltages add up. Cell 1 is the one at the pack's negative end, as on the balance lead.",
    "Rated capacity": "The charge its maker says the pack holds when new, in mAh. What it really holds is less with age, and each cell has its own.",
    "C rate": "Current over capacity: 1 C empties a full pack in an hour. 10 C of a 3,000 mAh pack is 30 A.",
    "Depth": "Share of a cell's charge that is gone after a run: 0 % is full, 100 % is empty.",
    "Floor": "The voltage under load below which a cell of this chemistry is harmed.",
    "Reserve": "The charge to leave in every cell, so that an error in a reading or a hard pull does no harm.",
    "Rested voltage": "What a pack shows after standing unused. Ten minutes help, hours are better; just after a run it is still low.",
    "Grade": "How far a run took a cell: fine, into the reserve, deep (it may have gone below its floor, or half the reserve was used) or damaging (more likely than not below its floor).",
    "± and the 90 % interval": "Nine times in ten the true value lies within. The poorer the readings, the wider it is.",
    "Evidence and its vote": "Each kind of reading says by itself what a run took. The surer it is, the more it counts; one that does not fit is named.",
    "Resistance": "What makes the voltage sag when current flows, here at 25 °C. It rises with age and cold; a cell that rises alone is going weak.",
    "Fade": "How much capacity is lost with use, and when the pack would come to 80 % of its rating: a convention for worn, no limit of safety.",
    "Own curve": "Rested voltage against the charge left, as this pack has shown it. It differs from pack to pack by some percent.",
    "Cutoff": "The voltage at which a controller lets go of the motor. It sees the whole pack, not each cell, so it is a last line, after timer and alarm.",
    "Risk": "How often a run that goes on until the controller lets go takes some cell below its floor.",
    "Bursts": "The highest current that lasts some seconds, as in a start or a climb. It sags the voltage most.",
    "Trip": "A controller letting go. On a bench supply turned down slowly it is where the motor stops.",
    "Runs again": "Where a controller takes hold again as the voltage comes back. One that does so by itself can drain a pack step by step.",
    "Drift": "How far the trip wandered between the first and the last try of one test.",
    "Sense divider": "Two resistors through which a controller measures its pack. One more resistor beside them moves the trip.",
    "Values to choose from": "Resistors are sold in set series, E12 to E192 (IEC 60063): the larger the number, the finer the steps.",
    "Equivalent full cycle": "Charge taken out, counted in full packs: two runs to half depth are one.",
    "Storage voltage": "Where a lithium pack stands best when not used for days, mostly near 3.8 V a cell; the maker's number comes first.",
}


def terms_fold(*names: str) -> Component:
    """Those words with their meanings, in the order given."""
    pairs = [html.Div([html.Dt(name), html.Dd(unbroken(TERMS[name]))]) for name in names]
    return html.Details([html.Summary("What the words here mean"), html.Dl(pairs)], className="terms")
