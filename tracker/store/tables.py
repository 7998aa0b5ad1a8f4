"""The tables, with the constraints that keep a row that cannot be out of them.

A kind (chemistry, cutoff mode, what ended a run, goal of a charge) is a text key defined in code, so that a new one
needs no migration; the tables only insist that it is not empty. Every number has an upper bound as well as a lower
one: SQLite sorts text above all numbers, and so the upper bound also keeps text out of a column of numbers.
"""

from __future__ import annotations

from sqlalchemy import Boolean, CheckConstraint, ForeignKey, Index, LargeBinary, MetaData, Text, UniqueConstraint
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column

from tracker.store.columns import (
    HIGHEST_V,
    LONGEST_NAME,
    MOST_IN_SERIES,
    Count,
    Key,
    MaybeDay,
    MaybeNumber,
    MaybeWord,
    Moment,
    Name,
    NameWords,
    Notes,
    Number,
    Resistances,
    Utc,
    Voltages,
    Words,
)

_HIGHEST_AH = 10_000.0
_HIGHEST_A = 10_000.0
_LONGEST_S = 1e9
_LOWEST_K, _HIGHEST_K = 173.15, 423.15


class Base(DeclarativeBase):
    """What all tables share: constraints are named by rule, so that a migration can find them again."""

    metadata = MetaData(
        naming_convention={
            "ix": "ix_%(table_name)s_%(column_0_N_name)s",
            "uq": "uq_%(table_name)s_%(column_0_N_name)s",
            "ck": "ck_%(table_name)s_%(constraint_name)s",
            "fk": "fk_%(table_name)s_%(column_0_name)s_%(referred_table_name)s",
            "pk": "pk_%(table_name)s",
        }
    )


def _above(column: str, low: float, high: float) -> CheckConstraint:
    return CheckConstraint(
        f"{column} > {low:g} AND {column} <= {high:g}", name=column, info={"words": f"{column} must be above {low:g} and at most {high:g}"}
    )


def _between(column: str, low: float, high: float) -> CheckConstraint:
    return CheckConstraint(f"{column} BETWEEN {low:g} AND {high:g}", name=column, info={"words": f"{column} must be {low:g} to {high:g}"})


def _whole(column: str, low: int, high: int) -> CheckConstraint:
    return CheckConstraint(
        f"{column} BETWEEN {low} AND {high} AND {column} = CAST({column} AS INTEGER)",
        name=column,
        info={"words": f"{column} must be a whole number from {low} to {high}"},
    )


def _named(column: str, longest: int = LONGEST_NAME) -> CheckConstraint:
    return CheckConstraint(
        f"length({column}) BETWEEN 1 AND {longest}", name=column, info={"words": f"{column} must be 1 to {longest} characters long"}
    )


def _in_living_memory(column: str) -> CheckConstraint:
    return CheckConstraint(
        f"{column} >= '1900-01-01 00:00:00+00' AND {column} < '2200-01-01 00:00:00+00'",
        name=column,
        info={"words": f"{column} must lie in the years 1900 to 2199"},
    )


def _day(column: str) -> CheckConstraint:
    return CheckConstraint(
        f"{column} >= '1900-01-01' AND {column} < '2200-01-01'",
        name=column,
        info={"words": f"{column} must lie in the years 1900 to 2199"},
    )


def _list(column: str) -> CheckConstraint:
    return CheckConstraint(
        f"substr({column}, 1, 1) = '[' AND length({column}) > 2",
        name=column,
        info={"words": f"{column} must be a list of numbers or not recorded"},
    )


class PackRow(Base):
    """A battery pack."""

    __tablename__ = "pack"
    __table_args__ = (
        UniqueConstraint("name"),
        _named("name"),
        _named("chemistry"),
        _whole("series", 1, MOST_IN_SERIES),
        _whole("parallel", 1, 10_000),
        _above("capacity_ah", 0, _HIGHEST_AH),
        _above("continuous_c", 0, 10_000),
        _day("acquired_on"),
        _day("retired_on"),
        CheckConstraint(
            "retired_on >= acquired_on", name="retired_after_acquired", info={"words": "retired_on must not be before acquired_on"}
        ),
        {"comment": "battery packs"},
    )

    id: Mapped[Key]
    name: Mapped[Name]
    chemistry: Mapped[Name] = mapped_column(comment="key of a chemistry file")
    series: Mapped[Count] = mapped_column(comment="cells or parallel groups in series")
    parallel: Mapped[Count] = mapped_column(comment="cells in each group")
    capacity_ah: Mapped[Number] = mapped_column(comment="rated capacity [Ah]")
    continuous_c: Mapped[MaybeNumber] = mapped_column(comment="rated continuous discharge [multiples of capacity an hour]")
    acquired_on: Mapped[MaybeDay]
    retired_on: Mapped[MaybeDay]
    notes: Mapped[Notes]


class ControllerRow(Base):
    """A speed controller."""

    __tablename__ = "controller"
    __table_args__ = (
        UniqueConstraint("name"),
        _named("name"),
        _named("cutoff_mode"),
        _above("cutoff_v", 0, HIGHEST_V),
        _above("restart_v", 0, HIGHEST_V),
        _between("load_share", 0, 1),
        {"comment": "speed controllers"},
    )

    id: Mapped[Key]
    name: Mapped[Name]
    cutoff_mode: Mapped[Name] = mapped_column(comment="how it decides to let go")
    cutoff_v: Mapped[MaybeNumber] = mapped_column(comment="where it lets go, of the pack or of a cell as cutoff_mode says [V]")
    restart_v: Mapped[MaybeNumber] = mapped_column(comment="where it takes up again [V]")
    load_share: Mapped[MaybeNumber] = mapped_column(comment="part of the vehicle's current through it, 0 to 1")
    powers_receiver: Mapped[bool | None] = mapped_column(Boolean(create_constraint=True, name="powers_receiver"))
    notes: Mapped[Notes]


class VehicleRow(Base):
    """A model that runs on a pack."""

    __tablename__ = "vehicle"
    __table_args__ = (
        UniqueConstraint("name"),
        _named("name"),
        _between("lead_ohm", 0, 100),
        _above("usual_a", 0, _HIGHEST_A),
        {"comment": "models that run on a pack"},
    )

    id: Mapped[Key]
    name: Mapped[Name]
    lead_ohm: Mapped[MaybeNumber] = mapped_column(comment="leads and connectors, out and back [ohm]")
    usual_a: Mapped[MaybeNumber] = mapped_column(comment="mean current it usually draws [A]")
    notes: Mapped[Notes]


class VehicleControllerRow(Base):
    """A controller in a vehicle. It cannot be removed while a vehicle carries it."""

    __tablename__ = "vehicle_controller"
    __table_args__ = (
        UniqueConstraint("vehicle_id", "controller_id"),
        Index(None, "controller_id"),
        _whole("position", 1, 1000),
        {"comment": "which controllers a vehicle carries"},
    )

    vehicle_id: Mapped[int] = mapped_column(ForeignKey("vehicle.id", ondelete="CASCADE"), primary_key=True)
    position: Mapped[Count] = mapped_column(primary_key=True, comment="from 1, in the order the vehicle names them")
    controller_id: Mapped[int] = mapped_column(ForeignKey("controller.id", ondelete="RESTRICT"))


class RunRow(Base):
    """A run. Somebody wrote it down and nothing can bring it back, so no pack or vehicle goes while runs name it."""

    __tablename__ = "run"
    __table_args__ = (
        UniqueConstraint("pack_id", "started_at"),
        Index(None, "vehicle_id"),
        _in_living_memory("started_at"),
        _above("run_s", 0, _LONGEST_S),
        _between("rest_before_s", 0, _LONGEST_S),
        _between("rest_after_s", 0, _LONGEST_S),
        _between("loaded_a", 0, _HIGHEST_A),
        _between("mean_a", 0, _HIGHEST_A),
        _between("used_ah", 0, _HIGHEST_AH),
        _between("pack_k", _LOWEST_K, _HIGHEST_K),
        _named("ended_by"),
        _list("before_v"),
        _list("loaded_v"),
        _list("after_v"),
        _list("cutoff_v"),
        {"comment": "runs, as written down"},
    )

    id: Mapped[Key]
    pack_id: Mapped[int] = mapped_column(ForeignKey("pack.id", ondelete="RESTRICT"))
    vehicle_id: Mapped[int | None] = mapped_column(ForeignKey("vehicle.id", ondelete="RESTRICT"))
    started_at: Mapped[Moment] = mapped_column(comment="UTC")
    run_s: Mapped[Number] = mapped_column(comment="length [s]")
    rest_before_s: Mapped[MaybeNumber] = mapped_column(comment="rest before the first reading [s]")
    before_v: Mapped[Voltages] = mapped_column(comment="one number: the pack; several: the cells from the negative end [V]")
    loaded_v: Mapped[Voltages] = mapped_column(comment="lowest seen under load [V]")
    loaded_a: Mapped[MaybeNumber] = mapped_column(comment="current at that moment, discharge positive [A]")
    mean_a: Mapped[MaybeNumber] = mapped_column(comment="mean current, discharge positive [A]")
    used_ah: Mapped[MaybeNumber] = mapped_column(comment="counted by a meter [Ah]")
    after_v: Mapped[Voltages] = mapped_column(comment="rested, after the run [V]")
    rest_after_s: Mapped[MaybeNumber] = mapped_column(comment="rest before the last reading [s]")
    cutoff_v: Mapped[Voltages] = mapped_column(comment="settings of the vehicle's controllers as driven [V]")
    pack_k: Mapped[MaybeNumber] = mapped_column(comment="temperature of the pack [K]")
    ended_by: Mapped[MaybeWord] = mapped_column(comment="what ended it")
    notes: Mapped[Notes]


class ChargeRow(Base):
    """A charge, kept as carefully as a run."""

    __tablename__ = "charge"
    __table_args__ = (
        UniqueConstraint("pack_id", "finished_at"),
        _in_living_memory("finished_at"),
        _between("put_back_ah", 0, _HIGHEST_AH),
        _between("pack_k", _LOWEST_K, _HIGHEST_K),
        _named("goal"),
        _list("end_v"),
        _list("cell_ohm"),
        {"comment": "charges, as written down"},
    )

    id: Mapped[Key]
    pack_id: Mapped[int] = mapped_column(ForeignKey("pack.id", ondelete="RESTRICT"))
    finished_at: Mapped[Moment] = mapped_column(comment="UTC")
    put_back_ah: Mapped[MaybeNumber] = mapped_column(comment="counted by the charger [Ah]")
    end_v: Mapped[Voltages] = mapped_column(comment="one number: the pack; several: the cells [V]")
    goal: Mapped[MaybeWord] = mapped_column(comment="what it was meant to reach")
    cell_ohm: Mapped[Resistances] = mapped_column(comment="resistance of each cell as a charger or meter showed it [ohm]")
    pack_k: Mapped[MaybeNumber] = mapped_column(comment="temperature of the pack [K]")
    notes: Mapped[Notes]


class BenchReadingRow(Base):
    """One reading of a bench test; it goes with its controller, of which alone it speaks."""

    __tablename__ = "bench_reading"
    __table_args__ = (
        _in_living_memory("tested_at"),
        _whole("position", 1, 10_000_000),
        _between("supply_v", 0, HIGHEST_V),
        {"comment": "bench tests of controllers, one row a reading"},
    )

    controller_id: Mapped[int] = mapped_column(ForeignKey("controller.id", ondelete="CASCADE"), primary_key=True)
    tested_at: Mapped[Moment] = mapped_column(primary_key=True, comment="UTC; all readings of one test carry the same")
    position: Mapped[Count] = mapped_column(primary_key=True, comment="from 1, in the order taken")
    supply_v: Mapped[Number] = mapped_column(comment="bench supply [V]")
    running: Mapped[bool] = mapped_column(Boolean(create_constraint=True, name="running"), comment="whether the motor turned")


class TraceRow(Base):
    """The recording of a run; it goes with its run. What is large stands last, so that the rest is read without it."""

    __tablename__ = "trace"
    __table_args__ = (
        _whole("rows", 1, 2_000_000_000),
        _between("span_s", 0, _LONGEST_S),
        _whole("cells", 0, MOST_IN_SERIES),
        {"comment": "recordings of runs"},
    )

    run_id: Mapped[int] = mapped_column(ForeignKey("run.id", ondelete="CASCADE"), primary_key=True)
    rows: Mapped[Count] = mapped_column(comment="readings")
    span_s: Mapped[Number] = mapped_column(comment="from the first reading to the last [s]")
    cells: Mapped[Count] = mapped_column(comment="cells recorded one by one")
    file_name: Mapped[Notes] = mapped_column(comment="of the file it was read from")
    summary_version: Mapped[Name] = mapped_column(comment="version of the method that made the summary")
    summary: Mapped[str] = mapped_column(Words, comment="what the recording shows, as a JSON object")
    digest: Mapped[str] = mapped_column(Words, comment="SHA-256 of the payload")
    payload: Mapped[bytes] = mapped_column(LargeBinary, comment="its columns, see tracker/store/trace_codec.py")


class RunEstimateRow(Base):
    """What a run is estimated to have taken: worked out, can be worked out again, and goes with its run."""

    __tablename__ = "run_estimate"
    __table_args__ = (
        Index(None, "model", "run_id"),
        Index(None, "worst_grade"),
        _named("model"),
        _named("worst_grade"),
        {"comment": "estimates of runs; all can be made again"},
    )

    run_id: Mapped[int] = mapped_column(ForeignKey("run.id", ondelete="CASCADE"), primary_key=True)
    model: Mapped[Name] = mapped_column(comment="version of the model that made it")
    worst_grade: Mapped[MaybeWord] = mapped_column(comment="grade of the cell driven furthest")
    payload: Mapped[str] = mapped_column(Text, comment="the estimate as a JSON list")


class FindingRow(Base):
    """Something found about a pack: worked out, and goes with its pack."""

    __tablename__ = "finding"
    __table_args__ = (
        Index(None, "pack_id"),
        _named("rule"),
        _named("severity"),
        _in_living_memory("at"),
        {"comment": "findings; all can be made again"},
    )

    id: Mapped[Key]
    pack_id: Mapped[int] = mapped_column(ForeignKey("pack.id", ondelete="CASCADE"))
    rule: Mapped[Name]
    severity: Mapped[Name]
    subject: Mapped[str] = mapped_column(Words, comment="the pack, controller or vehicle concerned")
    message: Mapped[str] = mapped_column(Words)
    why: Mapped[str] = mapped_column(Words)
    source: Mapped[str | None] = mapped_column(Words)
    at: Mapped[Moment | None] = mapped_column(Utc, comment="of the run or charge concerned, UTC")


class PackKnowledgeRow(Base):
    """What was learned of a pack from its history: worked out, and goes with its pack."""

    __tablename__ = "pack_knowledge"
    __table_args__ = (
        _named("model"),
        _in_living_memory("as_of"),
        {"comment": "what was learned of each pack; all can be learned again"},
    )

    pack_id: Mapped[int] = mapped_column(ForeignKey("pack.id", ondelete="CASCADE"), primary_key=True)
    model: Mapped[Name] = mapped_column(comment="version of the model that made it")
    as_of: Mapped[Moment] = mapped_column(comment="history up to here went into it, UTC")
    payload: Mapped[str] = mapped_column(Words, comment="JSON")
    health: Mapped[str | None] = mapped_column(Words, comment="JSON, how the pack stands by it")


class ChangeRow(Base):
    """Something somebody did to the records above, with the rows as they were before and after, so that it can be taken back."""

    __tablename__ = "change"
    __table_args__ = (
        Index(None, "at"),
        _named("id"),
        _in_living_memory("at"),
        _in_living_memory("undone_at"),
        {"comment": "what was done to the logbook, the newest alone; can be taken back"},
    )

    id: Mapped[str] = mapped_column(NameWords, primary_key=True, comment="given by who asked for it, or made")
    at: Mapped[Moment] = mapped_column(comment="UTC, each later than the one before")
    words: Mapped[str] = mapped_column(Words, comment="what was done")
    asked: Mapped[str] = mapped_column(Words, comment="digest of what was asked for")
    steps: Mapped[str] = mapped_column(Words, comment="JSON, the rows touched as they were before and after")
    undone_at: Mapped[Moment | None] = mapped_column(Utc, comment="when it was taken back, UTC")


WORKED_OUT = frozenset({"run_estimate", "finding", "pack_knowledge"})
"""Tables of what can be made again; all others but the changes hold what somebody wrote down."""


def check_words(constraint: str) -> str | None:
    """Return what the check constraint of that full name demands, in words."""
    for table in Base.metadata.tables.values():
        for found in table.constraints:
            if isinstance(found, CheckConstraint) and constraint == f"ck_{table.name}_{str(found.name).removeprefix(f'ck_{table.name}_')}":
                words = found.info.get("words")
                return f"{table.name}: {words}" if words else None
    return None
