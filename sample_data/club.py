"""Who owns what in the invented Quillmere Model Club: packs, models and controllers as they truly are."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date


@dataclass(frozen=True, kw_only=True, slots=True)
class ClubController:
    """A speed controller: where it is set, and where it truly lets go."""

    name: str
    mode: str
    cutoff_v: float | None
    restart_v: float | None
    share: float
    receiver: bool
    true_trip_v: float | None = None
    """Of the pack or of one cell, as the mode says."""
    true_restart_v: float | None = None
    notes: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class ClubVehicle:
    """A model: its controllers, the current it draws and the bursts over it."""

    name: str
    controllers: tuple[str, ...]
    lead_mohm: float
    usual_a: float
    burst: float
    receiver_a: float = 0.15
    telemetry: float = 0.0
    """How often the lowest voltage under load is written down, 0…1."""
    meter_gain: float | None = None
    """What its ampere-hour counter shows for each true ampere-hour; None has no counter."""
    notes: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class ClubPack:
    """A pack: what its label says, what it truly is, and how its keeper writes things down."""

    name: str
    chemistry: str
    capacity_mah: int
    cell_capacity: tuple[float, ...]
    """True capacity of each cell when the season begins, as a share of rated."""
    parallel: int = 1
    continuous_c: int
    acquired_on: date
    retired_on: date | None = None
    notes: str = ""
    resistance: float = 1.0
    """Resistance over what is typical of the chemistry."""
    leak: tuple[float, ...] = ()
    """Self-discharge of each cell over what is typical; empty is 1 for all."""
    store_factor: float = 1.0
    """How fast it ages in store, over what is typical."""
    per_cell: float = 1.0
    """How often its keeper reads every cell (otherwise the pack's total), 0…1."""
    counted: float = 0.85
    """How often its keeper writes down what the charger put back, 0…1."""
    shows_resistance: float = 0.0
    """How often its charger shows the cells' resistance and it is written down, 0…1."""
    rests_min: tuple[int, ...] = field(default=(60, 90, 720))
    """Minutes after a run at which its keeper reads the voltage."""


CONTROLLERS: tuple[ClubController, ...] = (
    ClubController(
        name="left-track",
        mode="pack_v",
        cutoff_v=5.0,
        restart_v=5.6,
        share=0.5,
        receiver=True,
        true_trip_v=5.06,
        true_restart_v=5.62,
        notes="spare fitted on 5 September when the old one failed; made for six nickel cells",
    ),
    ClubController(
        name="right-track",
        mode="pack_v",
        cutoff_v=6.4,
        restart_v=6.9,
        share=0.5,
        receiver=False,
        true_trip_v=6.43,
        true_restart_v=6.92,
        notes="altered for two lithium cells, bench tested",
    ),
    ClubController(
        name="crawler-drive", mode="cell_v", cutoff_v=3.3, restart_v=3.6, share=1.0, receiver=True, true_trip_v=3.31, true_restart_v=3.6
    ),
    ClubController(
        name="buggy-drive", mode="pack_v", cutoff_v=6.6, restart_v=7.0, share=1.0, receiver=True, true_trip_v=6.58, true_restart_v=7.02
    ),
    ClubController(
        name="hauler-drive",
        mode="cell_v",
        cutoff_v=2.9,
        restart_v=3.1,
        share=1.0,
        receiver=True,
        true_trip_v=2.92,
        true_restart_v=3.1,
    ),
    ClubController(
        name="launch-drive",
        mode="pack_v",
        cutoff_v=6.0,
        restart_v=None,
        share=1.0,
        receiver=True,
        true_trip_v=5.94,
        notes="stays off until it is unplugged",
    ),
    ClubController(
        name="tug-drive", mode="pack_v", cutoff_v=5.6, restart_v=5.9, share=1.0, receiver=True, true_trip_v=5.63, true_restart_v=5.92
    ),
)

OLD_LEFT_TRIP_V = 6.44
"""Where the groomer's first left controller let go, until 5 September."""

VEHICLES: tuple[ClubVehicle, ...] = (
    ClubVehicle(
        name="Snow groomer",
        controllers=("left-track", "right-track"),
        lead_mohm=4.0,
        usual_a=13.0,
        burst=2.4,
        receiver_a=0.25,
        telemetry=0.35,
        notes="tracked; a motor and a controller on each side, one pack through a Y lead",
    ),
    ClubVehicle(
        name="Rock crawler", controllers=("crawler-drive",), lead_mohm=5.0, usual_a=5.0, burst=3.0, notes="slow, steep, few bursts"
    ),
    ClubVehicle(name="Sand buggy", controllers=("buggy-drive",), lead_mohm=2.5, usual_a=21.0, burst=2.6, telemetry=0.45),
    ClubVehicle(
        name="Timber hauler",
        controllers=("hauler-drive",),
        lead_mohm=6.0,
        usual_a=4.2,
        burst=2.2,
        meter_gain=1.008,
        notes="has an ampere-hour counter",
    ),
    ClubVehicle(name="Harbour launch", controllers=("launch-drive",), lead_mohm=8.0, usual_a=4.5, burst=1.6),
    ClubVehicle(
        name="Pond tug",
        controllers=("tug-drive",),
        lead_mohm=10.0,
        usual_a=1.9,
        burst=1.5,
        notes="six-volt ballast battery low in the hull",
    ),
)

PACKS: tuple[ClubPack, ...] = (
    ClubPack(
        name="Groomer A",
        chemistry="lipo",
        capacity_mah=5000,
        cell_capacity=(0.985, 0.99),
        continuous_c=30,
        acquired_on=date(2025, 10, 4),
        resistance=0.8,
        counted=0.95,
        rests_min=(45, 60, 90, 660),
        shows_resistance=0.5,
    ),
    ClubPack(
        name="Groomer B",
        chemistry="lipo",
        capacity_mah=5000,
        cell_capacity=(0.99, 0.985),
        continuous_c=30,
        acquired_on=date(2025, 10, 4),
        resistance=0.8,
        rests_min=(45, 60, 120, 700),
        shows_resistance=0.5,
    ),
    ClubPack(
        name="Crawler A",
        chemistry="lipo",
        capacity_mah=3300,
        cell_capacity=(1.0, 0.868, 0.995),
        continuous_c=25,
        acquired_on=date(2025, 3, 15),
        counted=0.9,
        notes="bought second-hand",
        rests_min=(60, 75, 690),
    ),
    ClubPack(
        name="Crawler B",
        chemistry="lipo",
        capacity_mah=3300,
        cell_capacity=(0.99, 1.0, 0.995),
        continuous_c=25,
        acquired_on=date(2025, 9, 20),
        rests_min=(3, 60, 75, 690),
    ),
    ClubPack(
        name="Buggy A",
        chemistry="lihv",
        capacity_mah=6000,
        cell_capacity=(0.985, 0.98),
        continuous_c=60,
        acquired_on=date(2026, 3, 7),
        resistance=0.5,
        rests_min=(60, 90, 600),
        shows_resistance=0.6,
    ),
    ClubPack(
        name="Buggy B",
        chemistry="lipo",
        capacity_mah=5200,
        cell_capacity=(1.0, 0.995),
        continuous_c=50,
        acquired_on=date(2025, 8, 30),
        resistance=0.55,
        store_factor=1.7,
        counted=0.95,
        rests_min=(60, 90, 640),
        shows_resistance=0.6,
    ),
    ClubPack(
        name="Buggy C",
        chemistry="lipo",
        capacity_mah=5200,
        cell_capacity=(0.985, 0.99),
        continuous_c=50,
        acquired_on=date(2026, 2, 14),
        resistance=0.55,
        per_cell=0.4,
        rests_min=(30, 60, 660),
    ),
    ClubPack(
        name="Hauler A",
        chemistry="liion",
        capacity_mah=6000,
        cell_capacity=(0.98, 0.985, 0.98),
        parallel=2,
        continuous_c=5,
        acquired_on=date(2025, 5, 3),
        resistance=0.9,
        leak=(1.0, 1.0, 9.0),
        counted=0.8,
        rests_min=(90, 120, 720),
        notes="six cylindrical cells, two side by side",
    ),
    ClubPack(
        name="Hauler B",
        chemistry="life",
        capacity_mah=5000,
        cell_capacity=(0.99, 0.985, 0.99, 0.98),
        continuous_c=15,
        acquired_on=date(2025, 6, 14),
        counted=0.9,
        rests_min=(90, 120, 720),
    ),
    ClubPack(
        name="Launch A",
        chemistry="nimh",
        capacity_mah=3300,
        cell_capacity=(0.97, 0.975, 0.965, 0.97, 0.975, 0.97),
        continuous_c=10,
        acquired_on=date(2025, 4, 12),
        per_cell=0.0,
        counted=0.9,
        rests_min=(60, 120),
    ),
    ClubPack(
        name="Launch B",
        chemistry="nicd",
        capacity_mah=2400,
        cell_capacity=(0.93, 0.94, 0.93, 0.925, 0.935, 0.93),
        continuous_c=10,
        acquired_on=date(2019, 5, 18),
        retired_on=date(2026, 10, 25),
        per_cell=0.0,
        counted=0.8,
        rests_min=(60, 120),
        notes="on the museum shelf now",
    ),
    ClubPack(
        name="Tug A",
        chemistry="lead",
        capacity_mah=7000,
        cell_capacity=(0.97, 0.975, 0.97),
        continuous_c=2,
        acquired_on=date(2025, 4, 5),
        per_cell=0.0,
        counted=0.8,
        rests_min=(180, 720),
    ),
)
