"""The chemistry files hold what is published, and the loader refuses one that does not say where a number comes from."""

from __future__ import annotations

from importlib import resources
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator
from scipy.optimize import brentq

from tests.tracker.published_chemistry import (
    BODE_AT_5_MOLAL_V,
    BODE_COEFFICIENTS,
    CHARGE_POINTS,
    CURVE_POINTS,
    PARAMETER_VALUES,
    RACING_LIFEPO4_TWO_CELLS_V,
    SEALED_ACID_MOLALITY,
    ChargePoint,
    CurvePoint,
    PublishedValue,
)
from tracker.chemistry import PARAMETER_UNITS, STATUSES, Chemistry, MakeCurve, load, load_file, names, parse
from tracker.errors import ChemistryError

ALL = ("lead", "life", "lihv", "liion", "lipo", "nicd", "nimh")
LITHIUM = ("life", "lihv", "liion", "lipo")


def text_of(key: str) -> str:
    return (resources.files("tracker") / "chemistries" / f"{key}.toml").read_text("utf-8")


def make_of(chemistry: str, make: str) -> MakeCurve:
    return {curve.name: curve for curve in load(chemistry).makes}[make]


def voltage_at(curve: MakeCurve, soc: float | NDArray[np.float64]) -> NDArray[np.float64]:
    return np.asarray(PchipInterpolator(curve.soc, curve.voltage_v, extrapolate=False)(soc), dtype=np.float64)


def soc_at(curve: MakeCurve, voltage_v: float) -> float:
    return float(brentq(lambda soc: float(voltage_at(curve, soc)) - voltage_v, curve.soc[0], curve.soc[-1]))


# Published values.


@pytest.mark.parametrize("point", CURVE_POINTS, ids=lambda p: f"{p.chemistry}-{p.make}-{p.soc:g}-{p.voltage_v:.4g}")
def test_rested_voltage_is_the_published_one(point: CurvePoint) -> None:
    assert float(voltage_at(make_of(point.chemistry, point.make), point.soc)) == pytest.approx(point.voltage_v, abs=point.tolerance_v)


@pytest.mark.parametrize("point", CHARGE_POINTS, ids=lambda p: f"{p.chemistry}-{p.make}-{p.voltage_v:g}")
def test_charge_at_a_rested_voltage_is_the_published_one(point: ChargePoint) -> None:
    assert soc_at(make_of(point.chemistry, point.make), point.voltage_v) == pytest.approx(point.soc, abs=point.tolerance_soc)


@pytest.mark.parametrize("row", PARAMETER_VALUES, ids=lambda r: f"{r.chemistry}-{r.parameter}")
def test_parameter_is_the_published_one(row: PublishedValue) -> None:
    assert load(row.chemistry)[row.parameter] == pytest.approx(row.expected, abs=row.tolerance)


def test_lifepo4_stays_within_what_racing_allows_and_high_voltage_packs_do_not() -> None:
    assert 2 * load("life")["full_v"] <= RACING_LIFEPO4_TWO_CELLS_V
    assert load("lihv")["full_v"] > load("lipo")["full_v"]


def test_full_lead_acid_rests_where_the_acid_of_a_sealed_battery_puts_it() -> None:
    def cell_v(molality: float) -> float:
        return float(np.polynomial.Polynomial(BODE_COEFFICIENTS)(np.log10(molality)))

    assert cell_v(5.0) == pytest.approx(BODE_AT_5_MOLAL_V, abs=0.0005)
    lowest, highest = SEALED_ACID_MOLALITY
    assert cell_v(lowest) <= make_of("lead", "vrla").voltage_v[-1] <= cell_v(highest)


def test_one_rested_voltage_means_different_charge_in_different_makes() -> None:
    """The spread written down is at least half of the smallest that the makes show at their own mid-range voltages."""
    for key in ("lipo", "liion", "nimh"):
        chemistry = load(key)
        middle_v = [float(voltage_at(make, 0.5)) for make in chemistry.makes]
        spreads = [np.std([soc_at(make, v) for make in chemistry.makes], ddof=1) for v in middle_v]
        assert chemistry["curve_spread_soc"] >= 0.5 * min(spreads), key


def test_nickel_and_lead_say_less_about_charge_than_lithium() -> None:
    widest_lithium = max(load(key)["curve_spread_soc"] for key in LITHIUM)
    for key in ("nimh", "nicd", "lead"):
        assert load(key)["curve_spread_soc"] > widest_lithium, key


def test_the_nicd_curve_ends_where_its_measurements_end() -> None:
    (curve,) = load("nicd").makes
    assert (curve.soc[0], curve.soc[-1]) == (0.0667, 0.967)


# What every file must be.


def test_these_chemistries_come_with_the_tool() -> None:
    assert names() == ALL


@pytest.mark.parametrize("key", ALL)
def test_every_number_has_unit_source_and_status(key: str) -> None:
    chemistry = load(key)
    assert set(chemistry.parameters) == set(PARAMETER_UNITS)
    origins = [(p.source, p.status) for p in chemistry.parameters.values()]
    origins += [(m.source, m.status) for m in chemistry.makes]
    origins.append((chemistry.resistance_soc.source, chemistry.resistance_soc.status))
    for source, status in origins:
        assert source.strip()
        assert status in STATUSES
        if status in ("published", "derived"):
            assert len(source) > 15, f"{key}: '{source}' does not say where to look"


@pytest.mark.parametrize("key", ALL)
def test_curves_rise_and_lie_between_the_limits(key: str) -> None:
    chemistry = load(key)
    for make in chemistry.makes:
        fine = voltage_at(make, np.linspace(make.soc[0], make.soc[-1], 2001))
        assert np.all(np.diff(fine) > 0), make.name
        assert make.voltage_v[0] > chemistry["no_recharge_v"], make.name
        assert make.voltage_v[-1] <= chemistry["full_v"], make.name
        if chemistry.family != "nickel":  # the nominal voltage of nickel cells is one under load
            assert make.voltage_v[0] <= chemistry["nominal_v"] <= make.voltage_v[-1], make.name


@pytest.mark.parametrize("key", ALL)
def test_a_cell_at_its_reserve_rests_above_the_floor(key: str) -> None:
    chemistry = load(key)
    for make in chemistry.makes:
        assert float(voltage_at(make, max(chemistry["reserve_soc"], float(make.soc[0])))) > chemistry["floor_v"], make.name


@pytest.mark.parametrize("key", ALL)
def test_storage_window_holds_some_charge_of_every_make(key: str) -> None:
    chemistry = load(key)
    for make in chemistry.makes:
        soc = np.linspace(make.soc[0], make.soc[-1], 501)
        volts = voltage_at(make, soc)
        inside = soc[(volts >= chemistry["storage_low_v"]) & (volts <= chemistry["storage_high_v"])]
        assert inside.size > 25, make.name


@pytest.mark.parametrize("key", ALL)
def test_resistance_rises_towards_empty(key: str) -> None:
    chemistry = load(key)
    table = chemistry.resistance_soc
    assert float(np.interp(0.5, table.soc, table.factor)) == pytest.approx(1.0, abs=0.005)
    if key != "nicd":  # the vented nickel-cadmium cells measured do not show it
        assert table.factor[0] > 1.2


@pytest.mark.parametrize("key", ALL)
def test_a_shallower_cycle_costs_less(key: str) -> None:
    chemistry = load(key)
    assert 0 < chemistry["depth_fifth_cost"] < chemistry["depth_half_cost"] < 1
    # Less than its share of the charge: shallow cycles are gentle, in every chemistry.
    assert chemistry["depth_half_cost"] < 0.5
    assert chemistry["depth_fifth_cost"] < 0.2


@pytest.mark.parametrize("key", ALL)
def test_files_are_plain_text(key: str) -> None:
    text = text_of(key)
    assert text.isascii()
    assert "\r" not in text
    assert "\t" not in text
    assert text.endswith("\n")


# The loader.


def changed(key: str, old: str, new: str) -> str:
    text = text_of(key)
    assert old in text, f"'{old}' is not in {key}.toml any more"
    return text.replace(old, new, 1)


def entry_of(key: str, entry: str) -> str:
    """Text of one entry, header included."""
    body = text_of(key).split(f"[{entry}]\n", 1)[1].split("\n\n", 1)[0]
    return f"[{entry}]\n{body}\n"


def with_entry(entry: str, text: str, key: str = "lipo") -> str:
    return changed(key, entry_of(key, entry), text)


PARAMETER = '[floor_v]\nvalue = 3.0\nunit = "V"\nsource = "none"\nstatus = "common practice"\n'
CURVE = '[make.lco_pouch]\nsoc = [0.0, 0.5, 1.0]\nvalue = [3.0, 3.8, 4.2]\nunit = "V"\nsource = "a paper"\nstatus = "derived"\n'
FACTOR = '[resistance_soc]\nsoc = [0.0, 0.5, 1.0]\nvalue = [2.0, 1.0, 1.0]\nsource = "a paper"\nstatus = "derived"\n'


def test_the_replacements_used_below_are_accepted_unchanged() -> None:
    assert parse(with_entry("floor_v", PARAMETER), "mine")["floor_v"] == 3.0
    assert parse(with_entry("make.lco_pouch", CURVE), "mine").makes[0].voltage_v.tolist() == [3.0, 3.8, 4.2]
    assert parse(with_entry("resistance_soc", FACTOR), "mine").resistance_soc.factor.tolist() == [2.0, 1.0, 1.0]


@pytest.mark.parametrize(
    ("old", "new", "named", "why"),
    [
        ('source = "none"\n', "", "floor_v", "no source"),
        ('source = "none"', 'source = "  "', "floor_v", "no source"),
        ("common practice", "published", "floor_v", "'none'"),
        ("common practice", "derived", "floor_v", "'none'"),
        ("common practice", "hearsay", "floor_v", "hearsay"),
        ('unit = "V"', 'unit = "mV"', "floor_v", "mV"),
        ('unit = "V"\n', "", "floor_v", "unit"),
        ("value = 3.0", "value = true", "floor_v", "number"),
        ("value = 3.0", 'value = "3.0"', "floor_v", "number"),
        ("value = 3.0", "value = nan", "floor_v", "number"),
        ("value = 3.0", "value = inf", "floor_v", "number"),
        ("value = 3.0\n", "", "floor_v", "number"),
        ("value = 3.0\n", "value = 3.0\nsd = -0.1\n", "floor_v.sd", "above 0"),
        ("value = 3.0\n", "value = 3.0\nsd = false\n", "floor_v.sd", "number"),
        ("value = 3.0\n", "value = 3.0\nsdd = 0.1\n", "floor_v.sdd", "not known"),
        ("value = 3.0", "value = 3.76", "floor_v", "storage_low_v"),
        ("value = 3.0", "value = 1.9", "no_recharge_v", "floor_v"),
    ],
)
def test_a_parameter_at_fault_is_named(old: str, new: str, named: str, why: str) -> None:
    with pytest.raises(ChemistryError) as refusal:
        parse(with_entry("floor_v", PARAMETER.replace(old, new)), "mine")
    assert f"mine.toml: {named} " in str(refusal.value)
    assert why in str(refusal.value)


@pytest.mark.parametrize(
    ("old", "new", "named", "why"),
    [
        ('source = "a paper"\n', "", "make.lco_pouch", "no source"),
        ("[3.0, 3.8, 4.2]", "[3.0, 3.8, 3.8]", "make.lco_pouch.value", "entry 3"),
        ("[3.0, 3.8, 4.2]", "[3.0, 2.9, 4.2]", "make.lco_pouch.value", "entry 2"),
        ("[0.0, 0.5, 1.0]", "[0.0, 0.5, 0.4]", "make.lco_pouch.soc", "entry 3"),
        ("[0.0, 0.5, 1.0]", "[0.0, 50.0, 100.0]", "make.lco_pouch.soc", "0 to 1"),
        ("[0.0, 0.5, 1.0]", "[-0.1, 0.5, 1.0]", "make.lco_pouch.soc", "0 to 1"),
        ("[3.0, 3.8, 4.2]", "[3.0, 4.2]", "make.lco_pouch", "as many"),
        ("[3.0, 3.8, 4.2]", "[3.0]", "make.lco_pouch.value", "at least two"),
        ("[3.0, 3.8, 4.2]", "3.8", "make.lco_pouch.value", "list"),
        ("[3.0, 3.8, 4.2]", "[3.0, true, 4.2]", "make.lco_pouch.value", "number"),
        ("[3.0, 3.8, 4.2]", "[3.0, 3.8, 4.25]", "make.lco_pouch.value", "full_v"),
        ("[3.0, 3.8, 4.2]", "[-3.0, 3.8, 4.2]", "make.lco_pouch.value", "above 0"),
        ('unit = "V"', 'unit = "mV"', "make.lco_pouch", "mV"),
        ('unit = "V"', 'unit = "V"\ntemperature = 25', "make.lco_pouch.temperature", "not known"),
    ],
)
def test_a_curve_at_fault_is_named(old: str, new: str, named: str, why: str) -> None:
    with pytest.raises(ChemistryError) as refusal:
        parse(with_entry("make.lco_pouch", CURVE.replace(old, new)), "mine")
    assert f"mine.toml: {named} " in str(refusal.value)
    assert why in str(refusal.value)


@pytest.mark.parametrize(
    ("old", "new", "named"),
    [
        ('source = "a paper"\n', "", "resistance_soc"),
        ("[2.0, 1.0, 1.0]", "[2.0, 1.0]", "resistance_soc"),
        ("[2.0, 1.0, 1.0]", "[2.0, 1.0, -1.0]", "resistance_soc"),
        ("[2.0, 1.0, 1.0]", "[2.0, 1.3, 1.0]", "resistance_soc"),
        ("[0.0, 0.5, 1.0]", "[0.5, 0.0, 1.0]", "resistance_soc"),
        ('status = "derived"\n', 'status = "derived"\nunit = "1"\n', "resistance_soc.unit"),
    ],
)
def test_a_resistance_table_at_fault_is_named(old: str, new: str, named: str) -> None:
    with pytest.raises(ChemistryError) as refusal:
        parse(with_entry("resistance_soc", FACTOR.replace(old, new)), "mine")
    assert f"mine.toml: {named} " in str(refusal.value)


@pytest.mark.parametrize("entry", sorted(PARAMETER_UNITS))
def test_a_missing_parameter_is_named(entry: str) -> None:
    with pytest.raises(ChemistryError) as refusal:
        parse(with_entry(entry, ""), "mine")
    assert f"mine.toml: {entry} is missing" in str(refusal.value)


@pytest.mark.parametrize(
    ("text", "named"),
    [
        (changed("lipo", 'title = "Lithium polymer, 4.20 V"\n', ""), "title"),
        (changed("lipo", 'family = "lithium"', 'family = "sodium"'), "family is 'sodium'"),
        (changed("lipo", "[reserve_soc]", "[reserve_sock]"), "reserve_soc is missing"),
        (text_of("lipo") + "\n[colour]\nvalue = 1\n", "colour is not an entry"),
        (text_of("nicd").split("[make.", 1)[0], "make is missing"),
        (with_entry("resistance_soc", ""), "resistance_soc is missing"),
        (with_entry("reserve_soc", entry_of("lipo", "reserve_soc").replace("0.2", "20")), "reserve_soc is 20; allowed is 0 to 0.6"),
        (with_entry("hysteresis_v", entry_of("lipo", "hysteresis_v").replace("0.005", "-0.005")), "hysteresis_v is -0.005"),
        (with_entry("relaxation_fast", entry_of("lipo", "relaxation_fast").replace("85", "1100")), "relaxation_fast is 1100"),
        (with_entry("relaxation_fast", entry_of("lipo", "relaxation_fast").replace("85", "0")), "relaxation_fast is 0"),
        (with_entry("charge_low", entry_of("lipo", "charge_low").replace("value = 0", "value = 50")), "charge_low is 50"),
    ],
)
def test_a_file_that_is_incomplete_or_contradicts_itself_is_refused(text: str, named: str) -> None:
    with pytest.raises(ChemistryError) as refusal:
        parse(text, "mine")
    assert f"mine.toml: {named}" in str(refusal.value)


def test_a_file_that_is_not_toml_is_refused() -> None:
    with pytest.raises(ChemistryError, match=r"mine\.toml is not TOML"):
        parse("title: lithium", "mine")


def test_a_file_may_lie_anywhere(tmp_path: Path) -> None:
    path = tmp_path / "club.toml"
    path.write_text(text_of("lipo"), "utf-8")
    chemistry: Chemistry = load_file(path)
    assert chemistry.key == "club"
    assert chemistry["full_v"] == load("lipo")["full_v"]


def test_a_file_that_cannot_be_read_is_refused(tmp_path: Path) -> None:
    with pytest.raises(ChemistryError, match=r"none\.toml cannot be read"):
        load_file(tmp_path / "none.toml")
    path = tmp_path / "latin.toml"
    path.write_bytes('title = "25 °C"'.encode("latin-1"))
    with pytest.raises(ChemistryError, match="UTF-8"):
        load_file(path)


def test_an_unknown_chemistry_is_refused_with_the_known_ones() -> None:
    with pytest.raises(ChemistryError, match="'sodium' is not known") as refusal:
        load("sodium")
    assert all(key in str(refusal.value) for key in ALL)


def test_curves_cannot_be_changed_by_their_users() -> None:
    with pytest.raises(ValueError, match="read-only"):
        load("lipo").makes[0].voltage_v[0] = 0.0


@pytest.mark.parametrize(
    ("key", "full_v", "used_v"), [("lipo", 4.16, 3.95), ("life", 3.40, 3.30), ("liion", 4.16, 3.9), ("lead", 2.14, 2.05)]
)
def test_a_rested_full_cell_looks_full_and_a_used_one_does_not(key: str, full_v: float, used_v: float) -> None:
    # Limits: rested voltages of full cells lie under the charging limit, for iron phosphate and lead far under it (from memory).
    assert load(key).looks_full(full_v)
    assert load(key).looks_full(load(key)["full_v"])
    assert not load(key).looks_full(used_v)
