"""What stands on the shelf: packs, vehicles and controllers."""

from __future__ import annotations

from typing import Any, Literal

from sqlalchemy import delete, func, insert, select, update

from tracker.domain.controller import Controller, Vehicle
from tracker.domain.pack import Pack
from tracker.errors import ConflictError, InputError
from tracker.store.room import Room
from tracker.store.rows import CONTROLLERS, PACKS, VEHICLES
from tracker.store.tables import ChargeRow, ControllerRow, PackRow, RunRow, VehicleControllerRow, VehicleRow
from tracker.store.wording import plain_errors

Named = Literal["pack", "vehicle", "controller"]
_TABLES: dict[Named, type[PackRow | VehicleRow | ControllerRow]] = {"pack": PackRow, "vehicle": VehicleRow, "controller": ControllerRow}


class Inventory(Room):
    """Packs, vehicles and controllers, each known by its name."""

    def packs(self) -> tuple[Pack, ...]:
        """All packs, by name."""
        return tuple(PACKS.records(self.connection.execute(select(*PACKS.columns).order_by(PackRow.name))))

    def pack(self, name: str) -> Pack:
        """The pack of that name; NotFoundError when there is none."""
        key = self._pack_key(name)
        return PACKS.record(self.connection.execute(select(*PACKS.columns).where(PackRow.id == key.id)).one())

    def put_pack(self, pack: Pack) -> None:
        """Store a pack, or change the one of that name."""
        stored = self.connection.execute(select(PackRow.id, PackRow.series).where(PackRow.name == pack.name)).first()
        if stored is not None and stored.series != pack.series:
            self._refuse_other_series(pack, stored.id)
        self._put(PackRow, None if stored is None else stored.id, PACKS.values(pack))
        self._forget_keys()

    def remove_pack(self, name: str, *, with_history: bool = False) -> None:
        """Remove a pack; its runs and charges only when that is asked for, else ConflictError while it has any."""
        key = self._pack_key(name)
        if with_history:
            for table in (RunRow, ChargeRow):
                self.connection.execute(delete(table).where(table.pack_id == key.id))
        runs, charges = (self.connection.scalar(select(func.count()).where(table.pack_id == key.id)) for table in (RunRow, ChargeRow))
        if runs or charges:
            raise ConflictError(
                f"pack '{name}' has {runs} runs and {charges} charges written down; give it the day it was retired instead, or remove them first."
            )
        self.connection.execute(delete(PackRow).where(PackRow.id == key.id))
        self._forget_keys()

    def controllers(self) -> tuple[Controller, ...]:
        """All controllers, by name."""
        return tuple(CONTROLLERS.records(self.connection.execute(select(*CONTROLLERS.columns).order_by(ControllerRow.name))))

    def controller(self, name: str) -> Controller:
        """The controller of that name; NotFoundError when there is none."""
        number = self._id_of(ControllerRow, name)
        return CONTROLLERS.record(self.connection.execute(select(*CONTROLLERS.columns).where(ControllerRow.id == number)).one())

    def put_controller(self, controller: Controller) -> None:
        """Store a controller, or change the one of that name."""
        number = self.connection.scalar(select(ControllerRow.id).where(ControllerRow.name == controller.name))
        self._put(ControllerRow, number, CONTROLLERS.values(controller))

    def remove_controller(self, name: str) -> None:
        """Remove a controller and its bench tests; ConflictError while a vehicle carries it."""
        number = self._id_of(ControllerRow, name)
        carrier = self.connection.scalar(
            select(VehicleRow.name)
            .join(VehicleControllerRow, VehicleControllerRow.vehicle_id == VehicleRow.id)
            .where(VehicleControllerRow.controller_id == number)
            .order_by(VehicleRow.name)
            .limit(1)
        )
        if carrier is not None:
            raise ConflictError(f"controller '{name}' is carried by vehicle '{carrier}'; take it out of there first.")
        self.connection.execute(delete(ControllerRow).where(ControllerRow.id == number))

    def vehicles(self) -> tuple[Vehicle, ...]:
        """All vehicles, by name."""
        carried = self._carried()
        rows = self.connection.execute(select(VehicleRow.id, *VEHICLES.columns).order_by(VehicleRow.name)).all()
        return tuple(VEHICLES.record(row[1:], controllers=tuple(carried.get(row[0], ()))) for row in rows)

    def vehicle(self, name: str) -> Vehicle:
        """The vehicle of that name; NotFoundError when there is none."""
        number = self._id_of(VehicleRow, name)
        row = self.connection.execute(select(*VEHICLES.columns).where(VehicleRow.id == number)).one()
        return VEHICLES.record(row, controllers=tuple(self._carried(number).get(number, ())))

    def put_vehicle(self, vehicle: Vehicle) -> None:
        """Store a vehicle, or change the one of that name; NotFoundError when a controller it names is not stored."""
        if len(set(vehicle.controllers)) != len(vehicle.controllers):
            raise InputError(f"vehicle '{vehicle.name}' names a controller twice; give each its own name.")
        carried = [self._id_of(ControllerRow, name) for name in vehicle.controllers]
        number = self.connection.scalar(select(VehicleRow.id).where(VehicleRow.name == vehicle.name))
        number = self._put(VehicleRow, number, VEHICLES.values(vehicle))
        self.connection.execute(delete(VehicleControllerRow).where(VehicleControllerRow.vehicle_id == number))
        self._insert(
            VehicleControllerRow,
            [{"vehicle_id": number, "position": place, "controller_id": carrying} for place, carrying in enumerate(carried, 1)],
        )

    def remove_vehicle(self, name: str) -> None:
        """Remove a vehicle; ConflictError while runs name it."""
        number = self._id_of(VehicleRow, name)
        runs = self.connection.scalar(select(func.count()).where(RunRow.vehicle_id == number))
        if runs:
            raise ConflictError(f"vehicle '{name}' has {runs} runs written down; remove or change them first.")
        self.connection.execute(delete(VehicleRow).where(VehicleRow.id == number))

    def rename(self, kind: Named, old: str, new: str) -> None:
        """Call a pack, vehicle or controller otherwise; all that hangs on it stays with it. ConflictError when the name is taken."""
        table = _TABLES[kind]
        number = self._pack_key(old).id if table is PackRow else self._id_of(table, old)  # type: ignore[arg-type]
        if self.connection.scalar(select(table.id).where(table.name == new)) is not None:
            raise ConflictError(f"a {kind} named '{new}' is stored already; give '{old}' another name.")
        with plain_errors(), self.connection.begin_nested():
            self.connection.execute(update(table).where(table.id == number).values(name=new))
        self._forget_keys()

    def _carried(self, vehicle_id: int | None = None) -> dict[int, list[str]]:
        chosen = (
            select(VehicleControllerRow.vehicle_id, ControllerRow.name)
            .join(ControllerRow, ControllerRow.id == VehicleControllerRow.controller_id)
            .order_by(VehicleControllerRow.vehicle_id, VehicleControllerRow.position)
        )
        if vehicle_id is not None:
            chosen = chosen.where(VehicleControllerRow.vehicle_id == vehicle_id)
        carried: dict[int, list[str]] = {}
        for vehicle, controller in self.connection.execute(chosen):
            carried.setdefault(vehicle, []).append(controller)
        return carried

    def _put(self, table: type[PackRow | VehicleRow | ControllerRow], number: int | None, values: dict[str, Any]) -> int:
        with plain_errors(), self.connection.begin_nested():
            if number is None:
                return self.connection.execute(insert(table).returning(table.id), values).scalar_one()
            self.connection.execute(update(table).where(table.id == number).values(values))
            return number

    def check_readings(self, pack: str) -> None:
        """Raise InputError when readings of every cell of a pack do not fit its number of cells."""
        self._refuse_other_series(self.pack(pack), self._pack_key(pack).id)

    def _refuse_other_series(self, pack: Pack, number: int) -> None:
        """Readings of each cell would no longer fit the pack."""
        for table, readings in (
            (RunRow, (RunRow.before_v, RunRow.loaded_v, RunRow.after_v)),
            (ChargeRow, (ChargeRow.end_v, ChargeRow.cell_ohm)),
        ):
            for row in self.connection.execute(select(*readings).where(table.pack_id == number)):
                if any(len(reading) not in (0, 1, pack.series) for reading in row):
                    raise InputError(
                        f"pack '{pack.name}' has readings of every cell that do not fit {pack.series} in series; "
                        "leave its number of cells, or change those runs and charges first."
                    )
