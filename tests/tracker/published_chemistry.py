"""Published figures about cells, each with its tolerance and where it is printed."""

from __future__ import annotations

from dataclasses import dataclass

LCO = "Ai et al., J. Electrochem. Soc. 167 (2020) 013512, doi:10.1149/2.0122001JES, half-cell potentials and lithium balance"
PHONE_418 = "open-circuit voltages of a phone cell charged to 4.18 V, mainline Linux kernel, drivers/power/supply, commit 27fde3a"
PHONE_435 = "open-circuit voltages of a 1.70 Ah phone cell charged to 4.34 V, mainline Linux kernel, drivers/power/supply, commit 27fde3a"
PHONE_435_SMALL = (
    "open-circuit voltages of a 1.50 Ah phone cell charged to 4.34 V, mainline Linux kernel, drivers/power/supply, commit 27fde3a"
)
NMC532 = "Mohtat et al. 2020, half-cell potentials and lithium balance"
NMC811 = "Chen et al., J. Electrochem. Soc. 167 (2020) 080534, half-cell potentials and lithium balance"
NMC_C20 = "Kollmeyer et al., Mendeley Data V3 (2020), doi:10.17632/cp3473x7xv.3, C/20 discharge at 25 degC"
NCA = "Kim et al., J. Electrochem. Soc. 158 (2011) A955-A969, open-circuit polynomial"
LFP = "University of Colorado cell tests (Plett), LiFePO4 26650, mean of C/27 charge and discharge at 25 degC"
LAB = "National Renewable Energy Laboratory, vehicle-simulator battery data file "
RACING = "British Radio Car Association rules 2026 as reproduced by clubs: largest charge voltage of a cell"
XU = "Xu et al., IEEE Trans. Smart Grid 9(2) (2018) 1131-1140, doi:10.1109/TSG.2016.2578950, depth stress as quoted in public code"


@dataclass(frozen=True, slots=True)
class CurvePoint:
    """A printed point of a rested-voltage curve."""

    chemistry: str
    make: str
    soc: float
    voltage_v: float
    tolerance_v: float
    source: str


CURVE_POINTS = (
    CurvePoint("lipo", "lco_pouch", 0.20, 3.695, 0.005, LCO),
    CurvePoint("lipo", "lco_pouch", 0.50, 3.793, 0.005, LCO),
    CurvePoint("lipo", "lco_pouch", 0.80, 3.995, 0.005, LCO),
    # Another cell of the same electrodes: the tolerance is between makes.
    CurvePoint("lipo", "lco_pouch", 0.20, 3.711, 0.032, PHONE_418),
    CurvePoint("lipo", "lco_pouch", 0.30, 3.764, 0.032, PHONE_418),
    CurvePoint("lipo", "lco_pouch", 0.40, 3.778, 0.032, PHONE_418),
    CurvePoint("lipo", "lco_pouch", 0.50, 3.798, 0.032, PHONE_418),
    CurvePoint("lipo", "lco_pouch", 0.70, 3.920, 0.032, PHONE_418),
    CurvePoint("lipo", "lco_pouch", 0.80, 3.978, 0.032, PHONE_418),
    CurvePoint("liion", "nmc_18650", 0.50, 3.763, 0.005, NMC_C20),
    CurvePoint("liion", "nmc_18650", 0.10, 3.391, 0.005, NMC_C20),
    CurvePoint("liion", "nmc811_21700", 0.50, 3.751, 0.005, NMC811),
    CurvePoint("lihv", "hv_lco_phone", 0.50, 3.838, 1e-6, PHONE_435),
    CurvePoint("lihv", "hv_lco_phone", 1.00, 4.330, 1e-6, PHONE_435),
    CurvePoint("life", "lfp_26650", 0.20, 3.245, 0.005, LFP),
    CurvePoint("life", "lfp_26650", 0.50, 3.305, 0.005, LFP),
    CurvePoint("life", "lfp_26650", 0.90, 3.345, 0.005, LFP),
    CurvePoint("lead", "vrla", 0.00, 11.70 / 6, 1e-5, LAB + "ESS_PB25, six cells"),
    CurvePoint("lead", "vrla", 0.50, 12.37 / 6, 1e-5, LAB + "ESS_PB25, six cells"),
    CurvePoint("lead", "vrla", 1.00, 12.89 / 6, 1e-5, LAB + "ESS_PB25, six cells"),
    CurvePoint("nimh", "spiral_wound", 0.50, 1.2818, 0.005, LAB + "ESS_NIMH6"),
    # Read at 26 degC; the other printed temperatures differ from it by no more than the tolerance.
    CurvePoint("nimh", "prismatic", 0.50, 1.314, 0.005, LAB + "ESS_NiMH7, 26 degC"),
    CurvePoint("nimh", "prismatic", 0.50, 1.318, 0.005, LAB + "ESS_NiMH7, 1 degC"),
    CurvePoint("nimh", "prismatic", 0.50, 1.313, 0.005, LAB + "ESS_NiMH7, 40 degC"),
    CurvePoint("nicd", "vented", 0.50, 1.275, 0.001, LAB + "ESS_NICAD102"),
    CurvePoint("nicd", "vented", 0.967, 1.360, 0.001, LAB + "ESS_NICAD102"),
)


@dataclass(frozen=True, slots=True)
class ChargePoint:
    """The state of charge at a rested voltage."""

    chemistry: str
    make: str
    voltage_v: float
    soc: float
    tolerance_soc: float
    source: str


CHARGE_POINTS = (
    ChargePoint("lipo", "lco_pouch", 3.85, 0.623, 0.02, LCO),
    # One voltage, six cells: makes matter more than the meter.
    ChargePoint("lipo", "lco_pouch", 3.70, 0.21, 0.01, LCO),
    ChargePoint("lipo", "nmc532_pouch", 3.70, 0.46, 0.01, NMC532),
    ChargePoint("liion", "nmc811_21700", 3.70, 0.44, 0.01, NMC811),
    ChargePoint("liion", "nmc_18650", 3.70, 0.42, 0.01, NMC_C20),
    ChargePoint("liion", "nca_model", 3.70, 0.52, 0.01, NCA),
    ChargePoint("lihv", "hv_lco_phone", 3.70, 0.15, 0.01, PHONE_435),
    # A second high-voltage cell, not in the file: within one spread between makes.
    ChargePoint("lihv", "hv_lco_phone", 3.690, 0.10, 0.07, PHONE_435_SMALL),
    ChargePoint("lihv", "hv_lco_phone", 3.829, 0.50, 0.07, PHONE_435_SMALL),
    ChargePoint("lihv", "hv_lco_phone", 4.077, 0.80, 0.07, PHONE_435_SMALL),
)


@dataclass(frozen=True, slots=True)
class PublishedValue:
    """A printed value of one parameter."""

    chemistry: str
    parameter: str
    expected: float
    tolerance: float
    source: str


PARAMETER_VALUES = (
    PublishedValue("nimh", "hysteresis_v", 0.045, 1e-9, LAB + "ESS_NIMH45: 90 mV between charge-decreasing and charge-increasing"),
    PublishedValue("nimh", "charge_acceptance", 0.905, 0.003, LAB + "ESS_NIMH6, mean of 90.99 90.31 90.47 90.39 90.33 %"),
    PublishedValue("life", "charge_acceptance", 0.9962, 0.0005, "University of Colorado cell tests (Plett), C/27 totals at 25 degC"),
    PublishedValue("lead", "charge_acceptance", 0.90, 0.001, LAB + "ESS_PB25 and ESS_PB12"),
    PublishedValue("lipo", "full_v", 8.40 / 2, 1e-9, RACING + ", 8.40 V for two cells"),
    PublishedValue("lipo", "end_v", 3.0, 1e-9, "Ai et al. 2020, lower voltage cut-off"),
    PublishedValue("liion", "full_v", 4.2, 1e-9, "Chen et al. 2020, upper voltage cut-off"),
    PublishedValue("liion", "end_v", 2.5, 1e-9, "Chen et al. 2020, lower voltage cut-off"),
    PublishedValue("life", "full_v", 3.6, 1e-9, "University of Colorado cell tests (Plett), upper limit"),
    PublishedValue("nimh", "end_v", 1.0, 1e-9, "IEC 61951-2:2017, 0.2 It to 1.0 V, as quoted in summaries"),
    PublishedValue(
        "nicd", "end_v", 1.0, 1e-9, "Russian state standard for sealed cylindrical cells after IEC 285, clause 1.2.3, 5 h rate at 20 degC"
    ),
    PublishedValue("nicd", "nominal_v", 1.2, 1e-9, "Russian state standard for sealed cylindrical cells after IEC 285, clause 1.2.2"),
    PublishedValue("lead", "floor_v", 1.67, 1e-9, "GOST R IEC 952-1-93 clause 2.1.2, 1 It"),
    PublishedValue("lead", "resistance_capacity", 15.1e-3 / 6 * 25, 1e-3, LAB + "ESS_PB25, 15.1 mohm at half charge, 25 Ah"),
    PublishedValue("lipo", "depth_half_cost", 1.331e-5 / 5.882e-5, 0.0005, XU),
    PublishedValue("lipo", "depth_fifth_cost", 5.248e-6 / 5.882e-5, 0.0005, XU),
    PublishedValue("lipo", "charge_low", 0.0, 1e-9, "U.S. Fire Administration quoting NFPA, 32 F"),
    PublishedValue("lipo", "charge_high", (105 - 32) / 1.8, 0.6, "U.S. Fire Administration quoting NFPA, 105 F"),
)

RACING_LIFEPO4_TWO_CELLS_V = 7.40
"""British Radio Car Association rules 2026 as reproduced by clubs: 3.70 V a LiFePO4 cell."""

BODE_COEFFICIENTS = (1.922, 0.148, 0.063, 0.074, 0.034)
"""H. Bode, Lead-Acid Batteries, Wiley 1977: sum of the two electrodes' polynomials in log10 of the molality [V]."""
BODE_AT_5_MOLAL_V = 2.0896
"""Value of that sum at 5 mol/kg."""
SEALED_ACID_MOLALITY = (6.0, 7.4)
"""Acid of 1.28 to 1.32 kg/l, 37 to 42 % by mass, usual in sealed batteries when full; from memory [mol/kg]."""
