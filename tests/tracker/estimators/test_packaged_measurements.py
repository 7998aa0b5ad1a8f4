"""Cells that come with a package for analysing battery experiments: pulses with rests, and slow discharges of two cells.

Package: C. R. Randall, ampworks, NREL SWR-25-39, doi:10.11578/dc.20250313.2, data sets ``hppc`` and ``dqdv``. Its pulses bear no
noise and are most likely a model's, of other authors than ours; its slow discharges are of a new and of an aged cell.
The cells are small, about 3 and 22 mAh, NMC or alike on graphite, and end at 4.1 to 4.2 V.
"""

from __future__ import annotations

from datetime import UTC, datetime
from itertools import pairwise

import ampworks
import numpy as np
import pandas as pd
import pytest

from tests.tracker.measured import Score, shown_v
from tracker.domain.pack import Pack
from tracker.domain.session import Run
from tracker.estimators.assess import assess_packs
from tracker.estimators.cell_family import family
from tracker.estimators.history import PackHistory
from tracker.physics.load_voltage import resistance_from_step

START = datetime(2025, 3, 1, 12, 0, tzinfo=UTC)
GIVEN_OF_LABEL = 0.9
"""The new cell was run from 4.1 to 3.0 V; the chemistry's curves, from 4.2 to 2.5 V, hold about a tenth more."""
SLOW_S = 12.0 * 3600.0
PULSE_STEP, REST_STEP = 4, 3
"""One C for 30 s, after an hour of rest."""


@pytest.fixture(scope="module")
def pulses() -> pd.DataFrame:
    """Return the trace: seconds, volts, amps with discharge negative, step."""
    return pd.DataFrame(ampworks.datasets.load_datasets("hppc/hppc_discharge"))


def stretches(trace: pd.DataFrame, step: int) -> list[pd.DataFrame]:
    """Return the stretches of one step, each with the row just before it."""
    first = np.flatnonzero((trace["Step"] == step) & (trace["Step"].shift() != step))
    last = np.flatnonzero((trace["Step"] == step) & (trace["Step"].shift(-1) != step))
    return [trace.iloc[start - 1 : end + 1] for start, end in zip(first, last, strict=True)]


def at(stretch: pd.DataFrame, time_s: float) -> float:
    """Return the voltage so long after the stretch began."""
    seconds = stretch["Seconds"].to_numpy()
    return float(np.interp(time_s, seconds - seconds[0], stretch["Volts"].to_numpy()))


def resistances(trace: pd.DataFrame, time_s: float) -> np.ndarray:
    found = stretches(trace, PULSE_STEP)
    before_v = [float(pulse["Volts"].iloc[0]) for pulse in found]
    loaded_v = [at(pulse, time_s) for pulse in found]
    return resistance_from_step(before_v, 0.0, loaded_v, [-float(pulse["Amps"].iloc[1:].mean()) for pulse in found])


@pytest.mark.parametrize(("time_s", "column"), [(0.001, "Ohms_1"), (10.0, "Ohms_2"), (30.0, "Ohms_3")])
def test_resistance_of_each_pulse_is_what_the_package_finds(pulses: pd.DataFrame, time_s: float, column: str) -> None:
    """Independent: the package's own detection of pulses and its own quotient, at once, after 10 s and after 30 s."""
    table = ampworks.hppc.extract_impedance(ampworks.datasets.load_datasets("hppc/hppc_discharge"), tmax=31, sample_times=[10.0, 30.0])
    theirs = table.loc[table["State"] == "D", column].to_numpy()
    assert len(theirs) == 9
    np.testing.assert_allclose(resistances(pulses, time_s), theirs, rtol=1e-3)


def test_resistance_lies_within_the_spread_of_the_chemistry(pulses: pd.DataFrame) -> None:
    """Independent cell: 10 s resistance times capacity in mid-range, against the typical value and its standard deviation."""
    capacity_ah = float(pulses["Ah"].max())
    typical = family("liion").chemistry.parameters["resistance_capacity"]
    assert typical.sd is not None
    middle = resistances(pulses, 10.0)[2:6] * capacity_ah
    assert np.all(np.abs(middle - typical.value) < 2.0 * typical.sd)


def test_voltage_comes_back_after_load_about_as_expected(pulses: pd.DataFrame) -> None:
    """Independent cell: what is missing 10 s and 60 s after a third of C is within a factor of two; after half an hour nothing is."""
    cells = family("liion")
    capacity_ah = float(pulses["Ah"].max())
    rests = stretches(pulses, REST_STEP)[:8]
    assert len(rests) == 8
    for rest in rests:
        soc = 1.0 - float(rest["Ah"].iloc[-1]) / capacity_ah
        expected = cells.relaxation.deficit([10.0, 60.0, 1800.0], 1.0 / 3.0, cells.curve.slope(soc))
        rested_v = float(rest["Volts"].iloc[-1])
        for time_s, missing in zip((10.0, 60.0), expected[:2], strict=True):
            assert 0.5 < (rested_v - at(rest, time_s)) / missing < 2.0
        assert abs(rested_v - at(rest, 1800.0)) < 0.001
        assert expected[2] < 0.002


@pytest.mark.parametrize("cell", ["dqdv/cell1_rough", "dqdv/cell2_rough"])
def test_charge_between_voltages_of_a_slow_discharge(cell: str) -> None:
    """Measured, new and aged: between any two of the voltages the charge is within 10 % of rated, and the intervals know it."""
    trace = pd.DataFrame(ampworks.datasets.load_datasets(cell))
    new = pd.DataFrame(ampworks.datasets.load_datasets("dqdv/cell1_rough"))
    rated_ah = float(new["Ah"].max()) / GIVEN_OF_LABEL  # the aged cell wears the same label
    places = np.searchsorted(trace["Ah"].to_numpy(), np.arange(0.0, 0.99, 0.12) * float(new["Ah"].max()))
    marks = [(float(trace["Ah"].iloc[place]), float(trace["Volts"].iloc[place])) for place in places if place < len(trace)]
    assert len(marks) >= 7
    histories: list[PackHistory] = []
    truth: dict[tuple[str, datetime], float] = {}
    for first, (before_ah, before_v) in enumerate(marks):
        for after_ah, after_v in marks[first + 2 :]:
            name = f"{before_v:.3f} {after_v:.3f}"
            used_ah = after_ah - before_ah
            run = Run(
                pack=name,
                started_at=START,
                run_s=used_ah / float(new["Ah"].max()) * SLOW_S,
                before_v=(shown_v(before_v),),
                after_v=(shown_v(after_v),),
                rest_after_s=3600.0,
                pack_k=298.15,
            )
            histories.append(PackHistory(pack=Pack(name=name, chemistry="liion", series=1, capacity_ah=rated_ah), runs=(run,)))
            truth[name, START] = used_ah
    found = Score(
        (item for pack in assess_packs(histories, {}, {}) for item in pack.runs), truth, {item.pack.name: rated_ah for item in histories}
    )
    assert all(after < before for (_, before), (_, after) in pairwise(marks))
    assert found.unsaid == 0
    assert found.rms <= 0.10
    assert found.coverage >= 0.80, "pairs share their readings, so that few of them are independent"
