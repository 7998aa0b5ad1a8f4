"""Charge, lowest voltages, rest and resistance from a recording: limits, a known truth, and measured pulses and drives."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest
from numpy.typing import NDArray

from tests.tracker.made_up_traces import OHM, drive
from tests.tracker.measured import MEASURED, rows
from tracker.domain.trace import TraceReading
from tracker.estimators.recorded import summarise
from tracker.intake.traces import read_trace
from tracker.physics.load_voltage import at_reference
from tracker.physics.recording import charge_used, load_span, lowest_loaded, rested, without_glitches
from tracker.physics.recording_shape import joined, stretches, thinned
from tracker.physics.recording_steps import AFTER_S, lagged, step_resistance

Floats = NDArray[np.float64]

_SOME_TIME = datetime(2017, 3, 20, tzinfo=UTC)


def test_a_steady_hour_is_its_current_in_ampere_hours() -> None:
    time = np.linspace(0.0, 3600.0, 37)
    assert charge_used(time, np.full(37, 4.0)).used_ah == pytest.approx(4.0)
    assert charge_used(time, time / 3600.0 * 10.0).used_ah == pytest.approx(5.0)
    assert np.isnan(charge_used(time, np.full(37, np.nan)).used_ah)


def test_a_gap_is_told_and_widens_the_charge() -> None:
    time = np.arange(0.0, 600.0)
    current = 20.0 + 15.0 * np.sign(np.sin(time))
    whole = charge_used(time, current)
    kept = (time < 200) | (time > 320)
    gappy = charge_used(time[kept], current[kept])
    assert (whole.gap_s, whole.gap_sd_ah) == (0.0, 0.0)
    assert gappy.gap_s == pytest.approx(122.0)
    assert gappy.gap_sd_ah == pytest.approx(122.0 * 15.0 / 3600.0, rel=0.05)
    assert abs(gappy.used_ah - whole.used_ah) < 2.0 * gappy.gap_sd_ah


def test_readings_of_the_current_that_are_missing_are_bridged() -> None:
    time, current = np.arange(0.0, 100.0), np.full(100, 36.0)
    current[3::7] = np.nan
    assert charge_used(time, current).used_ah == pytest.approx(99.0 * 36.0 / 3600.0)


def test_what_was_put_into_a_made_up_drive_comes_out() -> None:
    """Round trip: resistance of each cell, lowest voltages, rest before and after."""
    trace = drive()
    span = load_span(trace.current_a)
    assert span is not None
    assert trace.time_s[span.first] == pytest.approx(20.0)
    assert trace.time_s[span.last] == pytest.approx(499.9)
    found = step_resistance(trace.time_s, trace.cell_v, trace.current_a)
    np.testing.assert_allclose(found.ohm, OHM, rtol=0.02)
    assert (np.abs(found.ohm - OHM) < 4.0 * found.sd_ohm + 1e-5).all()
    lowest, current = lowest_loaded(trace.cell_v, trace.current_a, span)
    np.testing.assert_array_equal(lowest, trace.cell_v.min(axis=0))
    assert current[2] == trace.current_a[trace.cell_v[:, 2].argmin()]
    (before, before_s), (after, after_s) = rested(trace.time_s, trace.cell_v, span)
    np.testing.assert_allclose(before, trace.cell_v[0], atol=0.002)
    assert [before_s, after_s] == pytest.approx([19.9, 90.0])
    np.testing.assert_allclose(after, trace.cell_v[-1], atol=0.002)


def test_no_load_shows_nothing() -> None:
    time = np.arange(0.0, 60.0)
    assert load_span(np.zeros(60)) is None
    assert load_span(np.full(60, np.nan)) is None
    assert np.isnan(step_resistance(time, np.full((60, 1), 4.0), np.full(60, 20.0)).ohm).all()


def test_a_single_impossible_reading_is_no_lowest_voltage() -> None:
    trace = drive(minutes=1.0)
    cell_v = trace.cell_v.copy()
    cell_v[600, 1] = 0.4
    cell_v[620, 0] = 0.0
    assert np.isnan(without_glitches(cell_v)[600, 1])
    span = load_span(trace.current_a)
    assert span is not None
    assert lowest_loaded(cell_v, trace.current_a, span)[0].min() > 3.0


def test_the_lag_is_that_of_a_first_order_circuit() -> None:
    """Limits: a step comes up as 1 - exp(-t / tau), whatever the readings' distances; a steady current stays."""
    chance = np.random.default_rng(1)
    time = np.cumsum(chance.uniform(0.01, 0.5, 3000))
    step = np.where(time > time[100], 1.0, 0.0)
    slow = lagged(time, step, 5.0)
    since = time - time[101]
    np.testing.assert_allclose(slow[102:], 1.0 - (1.0 - slow[101]) * np.exp(-since[102:] / 5.0), atol=1e-9)
    np.testing.assert_allclose(lagged(time, np.full(3000, 7.0), 5.0), 7.0)


@pytest.mark.parametrize("tau_s", [1.0, 5.0, 20.0])
def test_the_resistance_is_that_after_two_seconds_whatever_the_cells_own_time(tau_s: float) -> None:
    """Round trip: a circuit with one pair, its time constant another than the one assumed."""
    chance = np.random.default_rng(2)
    time = np.arange(0.0, 600.0, 0.2)
    current = np.repeat(chance.uniform(0.0, 50.0, 200), 15)
    volts = 3.9 - 0.004 * current - 0.003 * lagged(time, current, tau_s)
    expected = 0.004 + 0.003 * (1.0 - np.exp(-AFTER_S / tau_s))
    found = step_resistance(time, volts[:, None], current)
    assert found.ohm[0] == pytest.approx(expected, rel=0.08)


def test_stretches_keep_charge_time_and_bursts() -> None:
    trace = drive(minutes=10.0)
    duration, current = stretches(trace.time_s, trace.current_a, 150)
    assert len(duration) <= 150
    assert duration.sum() == pytest.approx(trace.time_s[-1])
    assert float(duration @ current) / 3600.0 == pytest.approx(charge_used(trace.time_s, trace.current_a).used_ah)
    assert current.max() > 0.93 * trace.current_a.max()
    few, charge = joined(duration, duration * current, 7)
    assert (len(few), few.sum(), charge.sum()) == (7, pytest.approx(duration.sum()), pytest.approx(duration @ current))


def test_thinning_keeps_every_sag_and_burst() -> None:
    trace = drive(minutes=10.0)
    kept = thinned(trace.time_s, trace.pack_v, trace.current_a, trace.cell_v, None, None, 400)
    assert len(kept) <= 402
    assert (np.diff(kept) > 0).all()
    assert trace.cell_v[kept].min() == trace.cell_v.min()
    assert trace.current_a[kept].max() == trace.current_a.max()
    part = thinned(trace.time_s, trace.pack_v, trace.current_a, trace.cell_v, 100.0, 110.0, 400)
    assert trace.time_s[part[0]] >= 100.0
    assert trace.time_s[part[-1]] <= 110.0
    assert len(part) == 101


DRIVES = (
    # file, ambient [°C], pulses to compare with [°C], most the resistance may be off
    ("us06_25degC.csv", "25", 0.08),
    ("us06_0degC.csv", "0", 0.20),
)


@pytest.mark.parametrize(("file", "ambient", "within"), DRIVES)
def test_charge_voltage_and_resistance_of_measured_drives(file: str, ambient: str, within: float) -> None:
    """Measured: a cell of 2.9 Ah on a driving cycle, thinned to 2 s; Kollmeyer, P. (2018), Mendeley Data, doi:10.17632/wykht8y7tg.1.

    Against the amp-hours its own counter showed, and the resistance 2 s into pulses at 2 C on the same cell, brought to the
    temperature of the drive by the 31 kJ/mol of the chemistry. Seen: charge 0.6 % low and 0.1 % high, resistance 2.5 % high
    at 25 °C and 14 % low from 0 °C, where the cell warmed itself to 14 °C.
    """
    [truth] = [row for row in rows("cylinder_nca_2900mah/run_summary.csv") if row["trace_file"] == file]
    path = MEASURED / "cylinder_nca_2900mah" / file
    if not path.is_file():
        pytest.skip(f"measured data {file} is not beside this checkout")
    found = read_trace(path, TraceReading(columns={"amps": "current_last_A"}))
    assert found.preview.reading.discharge == "negative"
    assert found.preview.used_ah == pytest.approx(float(truth["ah_removed_net_Ah"]), rel=0.01)
    summary = summarise(found.trace("NCA", found.preview.started_at or _SOME_TIME))
    assert summary.before_v[0] == pytest.approx(float(truth["v_rest_before_V"]), abs=0.025)
    assert summary.loaded_v[0] == pytest.approx(float(truth["v_min_loaded_V"]), abs=0.16)
    assert summary.pack_k is not None
    pulses = [
        float(row["r_2s_mohm"]) / 1000.0
        for row in rows("cylinder_nca_2900mah/hppc_resistance.csv")
        if row["temp_degC"] == ambient and row["c_rate"] == "2.000" and 0.2 < float(row["soc_of_rated"]) < 0.96
    ]
    energy = 31_000.0
    pulse_25 = at_reference(float(np.mean(pulses)), 273.15 + float(ambient), energy)
    assert at_reference(summary.step_ohm[0], summary.pack_k, energy) == pytest.approx(float(pulse_25), rel=within)
