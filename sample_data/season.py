"""One pack's season after the other: the plan is driven through the simulation and written down as its keeper would."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from datetime import datetime, time, timedelta

import numpy as np

from sample_data.club import CONTROLLERS, PACKS, VEHICLES, ClubController, ClubPack, ClubVehicle
from sample_data.outings import LATE_CHARGES, LateCharge, Outing, plan
from sample_data.readings import TELEMETRY_ERROR_V, Instruments, local, minutes, mistyped
from sample_data.simulate import ABOVE_FULL_V, SOC_GRID, Drive, FloatArray, SimulatedPack, Trip, load_profile, new_pack
from tracker.chemistry import load
from tracker.units import kelvin_from_celsius

SEASON = 2026
"""Fixes every random number, so that the season is the same each time."""
ROOM_C = 19.0
FULL_SOC = 0.993
"""Where a charger stops: the current has tapered, the cell is not quite full."""

Row = dict[str, str]


@dataclass(frozen=True, kw_only=True, slots=True)
class RunTruth:
    """What a run really did, which no keeper sees."""

    pack: str
    started_at: datetime
    written_at: str
    """The start as it stands in the logbook."""
    used_ah: float
    capacity_ah: FloatArray
    resistance_ohm: FloatArray
    """At 25 °C and half charge."""
    soc_before: FloatArray
    soc_after: FloatArray
    lowest_loaded_v: FloatArray


@dataclass(frozen=True, slots=True)
class Season:
    """Rows by file kind, and the truth behind the runs."""

    rows: dict[str, list[Row]] = field(default_factory=lambda: {"runs": [], "charges": []})
    truth: list[RunTruth] = field(default_factory=list)


def simulate_season() -> Season:
    """Every pack through its plan; runs and charges in time order."""
    season = Season()
    plans = plan()
    for number, owned in enumerate(PACKS):
        # Numbers of its own for each pack: a change to one pack's plan leaves the others as they are.
        scatter = np.random.default_rng([SEASON, number])
        _Keeper(owned, scatter, season).live(plans[owned.name], LATE_CHARGES.get(owned.name))
    season.rows["runs"].sort(key=lambda row: (row["started_at"], row["pack"]))
    season.rows["charges"].sort(key=lambda row: (row["finished_at"], row["pack"]))
    season.truth.sort(key=lambda truth: (truth.started_at, truth.pack))
    return season


class _Keeper:
    """Drives one pack through the year and writes down what is seen."""

    def __init__(self, owned: ClubPack, scatter: np.random.Generator, season: Season) -> None:
        self.owned = owned
        self.season = season
        self.scatter = scatter
        self.read = Instruments(scatter)
        self.pack: SimulatedPack = new_pack(
            load(owned.chemistry),
            rated_ah=owned.capacity_mah / 1000.0,
            cell_capacity=owned.cell_capacity,
            resistance_factor=owned.resistance,
            leak_factor=owned.leak or (1.0,) * len(owned.cell_capacity),
            store_factor=owned.store_factor,
            scatter=scatter,
        )
        self.now: datetime | None = None
        self.charged_at: datetime | None = None

    def live(self, outings: tuple[Outing, ...], late: LateCharge | None) -> None:
        """The whole season, outing by outing."""
        for outing, following in zip(outings, (*outings[1:], None), strict=True):
            if outing.charge != "none":
                self._charge_before(outing)
            ended_at = self._run(outing)
            if self._stores(outing, following):
                self._charge(_evening(ended_at + timedelta(days=1), self.read), goal="storage")
        if late is not None:
            self._charge(late.finished_at, goal=late.goal, notes=late.notes, counted=True)

    def _stores(self, outing: Outing, following: Outing | None) -> bool:
        if outing.store is not None or following is None:
            return bool(outing.store)
        pause_days = (following.day - outing.day).days
        return self.pack.chemistry.family == "lithium" and self.owned.chemistry != "life" and pause_days > 12 and self.read.chance(0.45)

    def _charge_before(self, outing: Outing) -> None:
        day = outing.charged_on or outing.day - timedelta(days=1)
        at = _evening(datetime.combine(day, time()), self.read)
        self._charge(at, goal="full", charge_c=outing.charge_c, to_v=outing.charge_to_v, notes=outing.charge_notes)

    def _charge(
        self, at: datetime, *, goal: str, charge_c: float | None = None, to_v: float | None = None, notes: str = "", counted: bool = False
    ) -> None:
        pack = self.pack
        target = FULL_SOC if goal == "full" else self._store_soc()
        if to_v is not None:
            target = 1.0 + (to_v - float(pack.curve_v[:, -1].mean())) / ABOVE_FULL_V
        self._pass_until(at, ROOM_C)
        if float(pack.soc.max()) >= target - 0.01:
            return
        pack_c = ROOM_C if charge_c is None else charge_c
        sent_ah = pack.charge(target, balanced=True, pack_k=kelvin_from_celsius(pack_c))
        if goal == "full":
            self.charged_at = at
        row = {"pack": self.owned.name, "finished_at": local(at), "goal": goal, "notes": notes}
        if counted or to_v is not None or self.read.chance(self.owned.counted):
            row["put_back_mah"] = self.read.charger_mah(sent_ah)
        row["end_v"] = self._end_v(goal, to_v)
        if self.read.chance(self.owned.shows_resistance):
            pack.temperature_k = kelvin_from_celsius(pack_c)
            row["cell_mohm"] = self.read.resistances_mohm(pack.resistance_ohm * pack.cold_factor())
        if charge_c is not None or self.read.chance(0.3):
            row["pack_c"] = f"{pack_c if charge_c is not None else self.read.about(pack_c, 2.0):.0f}"
        self.season.rows["charges"].append(row)

    def _store_soc(self) -> float:
        """State of charge in the middle of the chemistry's storage window, by this pack's own curve."""
        chemistry = self.pack.chemistry
        middle_v = 0.5 * (chemistry["storage_low_v"] + chemistry["storage_high_v"])
        return float(np.interp(middle_v, self.pack.curve_v.mean(axis=0), SOC_GRID))

    def _end_v(self, goal: str, to_v: float | None) -> str:
        """What the charger shows at the end: the limit it holds, or the rested voltage after a storage charge."""
        chemistry = self.pack.chemistry
        if chemistry.family == "nickel" or not (to_v is not None or self.read.chance(0.6)):
            return ""
        held_v = np.full(self.pack.series, (to_v or chemistry["full_v"]) - 0.003) if goal == "full" else self.pack.cell_v()
        return self.read.volts(
            held_v, per_cell=chemistry.family == "lithium" and (to_v is not None or self.read.chance(self.owned.per_cell))
        )

    def _run(self, outing: Outing) -> datetime:
        vehicle = next(vehicle for vehicle in VEHICLES if vehicle.name == outing.vehicle)
        read, pack = self.read, self.pack
        started_at = datetime.combine(outing.day, time()) + timedelta(minutes=round(60.0 * outing.at_h + read.about(0.0, 14.0)))
        air_c = season_air_c(started_at, read) if outing.air_c is None else outing.air_c
        self._pass_until(started_at, ROOM_C if outing.stand_c is None else outing.stand_c)
        # Carried out from a warm room, a pack has come half-way to the air when it is used.
        start_c = (0.5 * (air_c + ROOM_C)) if outing.start_c is None else outing.start_c
        row = self._before(outing, started_at)
        pack.temperature_k = kelvin_from_celsius(start_c)
        soc_before, capacity_ah, resistance_ohm = pack.soc, pack.capacity_ah, pack.resistance_ohm
        drive = self._drive(outing, vehicle, air_c)
        soc_after = pack.soc
        ended_at = started_at + timedelta(seconds=drive.run_s)
        pack.wear(drive)
        row |= self._driven(outing, vehicle, drive, start_c)
        self.now = ended_at
        row |= self._after(outing, vehicle)
        if outing.typo == "wrong day":
            row["started_at"] = local(started_at - timedelta(days=1))
        elif outing.typo:
            row["after_v"] = mistyped(row["after_v"], outing.typo)
        self.season.rows["runs"].append(row)
        self.season.truth.append(
            RunTruth(
                pack=self.owned.name,
                started_at=started_at,
                written_at=row["started_at"],
                used_ah=drive.used_ah,
                capacity_ah=capacity_ah,
                resistance_ohm=resistance_ohm,
                soc_before=soc_before,
                soc_after=soc_after,
                lowest_loaded_v=drive.lowest_cell_v,
            )
        )
        return ended_at

    def _drive(self, outing: Outing, vehicle: ClubVehicle, air_c: float) -> Drive:
        mean_a = vehicle.usual_a * outing.effort * self.read.about(1.0, 0.09)
        # To the end: a load that goes on for longer than any pack could bear, at half the current for most of it.
        share = 3.0 if outing.to_the_end else outing.share * self.read.about(1.0, 0.07)
        load_a = load_profile(mean_a, share * self.pack.rated_ah * 3600.0 / mean_a, burst=vehicle.burst, scatter=self.scatter)
        controllers = [next(one for one in CONTROLLERS if one.name == name) for name in vehicle.controllers]
        trips_v: tuple[float | None, ...] = outing.trips_v or tuple(
            _pack_trip_v(controller, self.pack.series) for controller in controllers
        )
        return self.pack.drive(
            load_a,
            tuple(Trip(trip_v=trip_v, share=controller.share) for trip_v, controller in zip(trips_v, controllers, strict=True)),
            lead_ohm=vehicle.lead_mohm / 1000.0,
            air_k=kelvin_from_celsius(air_c),
            stop_at_first=not outing.to_the_end,
        )

    def _before(self, outing: Outing, started_at: datetime) -> Row:
        row = {"pack": self.owned.name, "vehicle": outing.vehicle, "started_at": local(started_at)}
        if outing.stand_c is not None or outing.charge == "none" or self.read.chance(0.85):
            row["before_v"] = self.read.volts(self.pack.cell_v(), per_cell=self._per_cell(outing))
            if outing.charge != "none" and outing.charged_on is None and self.charged_at is not None and self.read.chance(0.5):
                row["rest_before_min"] = f"{(started_at - self.charged_at).total_seconds() / 60.0:.0f}"
        return row

    def _driven(self, outing: Outing, vehicle: ClubVehicle, drive: Drive, start_c: float) -> Row:
        row = {
            "run_min": minutes(drive.run_s),
            "ended_by": "cutoff" if drive.let_go else "driver",
            "notes": outing.notes or self.read.remark(),
        }
        if self.read.chance(vehicle.telemetry) if outing.telemetry is None else outing.telemetry:
            row["loaded_v"] = f"{self.read.about(drive.lowest_pack_v, TELEMETRY_ERROR_V):.2f}"
            row["loaded_a"] = f"{drive.lowest_at_a:.0f}"
        if vehicle.meter_gain is not None:
            row["used_mah"] = self.read.counter_mah(drive.used_ah, vehicle.meter_gain)
            row["mean_a"] = f"{drive.mean_a:.1f}"
        if outing.settings_v:
            row["cutoff_v"] = " ".join(f"{setting_v:.1f}" for setting_v in outing.settings_v)
        if outing.start_c is not None or self.read.chance(0.4):
            row["pack_c"] = f"{self.read.about(start_c, 1.0):.0f}"
        return row

    def _after(self, outing: Outing, vehicle: ClubVehicle) -> Row:
        """Let the pack rest, and read it where its keeper does."""
        told = bool(outing.typo) or outing.to_the_end or outing.after_min is not None
        after_min = outing.after_min or self.read.one_of(self.owned.rests_min)
        room_k = kelvin_from_celsius(ROOM_C)
        plugged_s = min(3600.0 * outing.plugged_h, 60.0 * after_min)
        self.pack.rest(plugged_s, room_k, vehicle.receiver_a)
        self.pack.rest(60.0 * after_min - plugged_s, room_k)
        self.now = None if self.now is None else self.now + timedelta(minutes=after_min)
        if not told and self.read.chance(0.08):
            return {}
        return {"rest_after_min": f"{after_min}", "after_v": self.read.volts(self.pack.cell_v(), per_cell=self._per_cell(outing))}

    def _per_cell(self, outing: Outing) -> bool:
        return self.read.chance(self.owned.per_cell) if outing.per_cell is None else outing.per_cell

    def _pass_until(self, at: datetime, air_c: float) -> None:
        if self.now is not None:
            if at < self.now:
                raise ValueError(f"{self.owned.name}: {at} is before {self.now}; the plan's days stand too close together.")
            self.pack.rest((at - self.now).total_seconds(), kelvin_from_celsius(air_c))
        self.now = at


def _pack_trip_v(controller: ClubController, series: int) -> float | None:
    if controller.true_trip_v is None or controller.mode != "cell_v":
        return controller.true_trip_v
    return controller.true_trip_v * series


def season_air_c(at: datetime, read: Instruments) -> float:
    """Temperature of the air: coldest in the third week of January."""
    day = at.timetuple().tm_yday
    return 11.0 - 8.0 * math.cos(2.0 * math.pi * (day - 20) / 365.0) + read.about(0.0, 3.0)


def _evening(day: datetime, read: Instruments) -> datetime:
    return datetime.combine(day.date(), time()) + timedelta(minutes=round(20.0 * 60.0 + read.about(0.0, 50.0)))
