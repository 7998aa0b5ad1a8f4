"""First tables.

A migration is never changed once a released program has carried it. It takes nothing from `tracker`, it keeps every
row, and it goes down as well as up. On SQLite a table is changed inside `op.batch_alter_table`.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Bring a database of the version before to this one."""
    op.create_table(
        "controller",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text().with_variant(sa.Text(collation="C"), "postgresql"), nullable=False),
        sa.Column(
            "cutoff_mode", sa.Text().with_variant(sa.Text(collation="C"), "postgresql"), nullable=False, comment="how it decides to let go"
        ),
        sa.Column("cutoff_v", sa.Double(), nullable=True, comment="where it lets go, of the pack or of a cell as cutoff_mode says [V]"),
        sa.Column("restart_v", sa.Double(), nullable=True, comment="where it takes up again [V]"),
        sa.Column("load_share", sa.Double(), nullable=True, comment="part of the vehicle's current through it, 0 to 1"),
        sa.Column("powers_receiver", sa.Boolean(create_constraint=True, name="powers_receiver"), nullable=True),
        sa.Column("notes", sa.Text(), nullable=False),
        sa.CheckConstraint("cutoff_v > 0 AND cutoff_v <= 1000", name=op.f("ck_controller_cutoff_v")),
        sa.CheckConstraint("length(cutoff_mode) BETWEEN 1 AND 200", name=op.f("ck_controller_cutoff_mode")),
        sa.CheckConstraint("length(name) BETWEEN 1 AND 200", name=op.f("ck_controller_name")),
        sa.CheckConstraint("load_share BETWEEN 0 AND 1", name=op.f("ck_controller_load_share")),
        sa.CheckConstraint("restart_v > 0 AND restart_v <= 1000", name=op.f("ck_controller_restart_v")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_controller")),
        sa.UniqueConstraint("name", name=op.f("uq_controller_name")),
        comment="speed controllers",
    )
    op.create_table(
        "pack",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text().with_variant(sa.Text(collation="C"), "postgresql"), nullable=False),
        sa.Column(
            "chemistry", sa.Text().with_variant(sa.Text(collation="C"), "postgresql"), nullable=False, comment="key of a chemistry file"
        ),
        sa.Column("series", sa.Integer(), nullable=False, comment="cells or parallel groups in series"),
        sa.Column("parallel", sa.Integer(), nullable=False, comment="cells in each group"),
        sa.Column("capacity_ah", sa.Double(), nullable=False, comment="rated capacity [Ah]"),
        sa.Column("continuous_c", sa.Double(), nullable=True, comment="rated continuous discharge [multiples of capacity an hour]"),
        sa.Column("acquired_on", sa.Date(), nullable=True),
        sa.Column("retired_on", sa.Date(), nullable=True),
        sa.Column("notes", sa.Text(), nullable=False),
        sa.CheckConstraint("acquired_on >= '1900-01-01' AND acquired_on < '2200-01-01'", name=op.f("ck_pack_acquired_on")),
        sa.CheckConstraint("retired_on >= '1900-01-01' AND retired_on < '2200-01-01'", name=op.f("ck_pack_retired_on")),
        sa.CheckConstraint("capacity_ah > 0 AND capacity_ah <= 10000", name=op.f("ck_pack_capacity_ah")),
        sa.CheckConstraint("continuous_c > 0 AND continuous_c <= 10000", name=op.f("ck_pack_continuous_c")),
        sa.CheckConstraint("length(chemistry) BETWEEN 1 AND 200", name=op.f("ck_pack_chemistry")),
        sa.CheckConstraint("length(name) BETWEEN 1 AND 200", name=op.f("ck_pack_name")),
        sa.CheckConstraint("parallel BETWEEN 1 AND 10000 AND parallel = CAST(parallel AS INTEGER)", name=op.f("ck_pack_parallel")),
        sa.CheckConstraint("retired_on >= acquired_on", name=op.f("ck_pack_retired_after_acquired")),
        sa.CheckConstraint("series BETWEEN 1 AND 100 AND series = CAST(series AS INTEGER)", name=op.f("ck_pack_series")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_pack")),
        sa.UniqueConstraint("name", name=op.f("uq_pack_name")),
        comment="battery packs",
    )
    op.create_table(
        "vehicle",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text().with_variant(sa.Text(collation="C"), "postgresql"), nullable=False),
        sa.Column("lead_ohm", sa.Double(), nullable=True, comment="leads and connectors, out and back [ohm]"),
        sa.Column("usual_a", sa.Double(), nullable=True, comment="mean current it usually draws [A]"),
        sa.Column("notes", sa.Text(), nullable=False),
        sa.CheckConstraint("lead_ohm BETWEEN 0 AND 100", name=op.f("ck_vehicle_lead_ohm")),
        sa.CheckConstraint("length(name) BETWEEN 1 AND 200", name=op.f("ck_vehicle_name")),
        sa.CheckConstraint("usual_a > 0 AND usual_a <= 10000", name=op.f("ck_vehicle_usual_a")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_vehicle")),
        sa.UniqueConstraint("name", name=op.f("uq_vehicle_name")),
        comment="models that run on a pack",
    )
    op.create_table(
        "bench_reading",
        sa.Column("controller_id", sa.Integer(), nullable=False),
        sa.Column("tested_at", sa.DateTime(timezone=True), nullable=False, comment="UTC; all readings of one test carry the same"),
        sa.Column("position", sa.Integer(), nullable=False, comment="from 1, in the order taken"),
        sa.Column("supply_v", sa.Double(), nullable=False, comment="bench supply [V]"),
        sa.Column("running", sa.Boolean(create_constraint=True, name="running"), nullable=False, comment="whether the motor turned"),
        sa.CheckConstraint(
            "tested_at >= '1900-01-01 00:00:00+00' AND tested_at < '2200-01-01 00:00:00+00'", name=op.f("ck_bench_reading_tested_at")
        ),
        sa.CheckConstraint(
            "position BETWEEN 1 AND 10000000 AND position = CAST(position AS INTEGER)", name=op.f("ck_bench_reading_position")
        ),
        sa.CheckConstraint("supply_v BETWEEN 0 AND 1000", name=op.f("ck_bench_reading_supply_v")),
        sa.ForeignKeyConstraint(
            ["controller_id"], ["controller.id"], name=op.f("fk_bench_reading_controller_id_controller"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("controller_id", "tested_at", "position", name=op.f("pk_bench_reading")),
        comment="bench tests of controllers, one row a reading",
    )
    op.create_table(
        "charge",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("pack_id", sa.Integer(), nullable=False),
        sa.Column("finished_at", sa.DateTime(timezone=True), nullable=False, comment="UTC"),
        sa.Column("put_back_ah", sa.Double(), nullable=True, comment="counted by the charger [Ah]"),
        sa.Column("end_v", sa.Text(), nullable=True, comment="one number: the pack; several: the cells [V]"),
        sa.Column(
            "goal", sa.Text().with_variant(sa.Text(collation="C"), "postgresql"), nullable=True, comment="what it was meant to reach"
        ),
        sa.Column("cell_ohm", sa.Text(), nullable=True, comment="resistance of each cell as a charger or meter showed it [ohm]"),
        sa.Column("pack_k", sa.Double(), nullable=True, comment="temperature of the pack [K]"),
        sa.Column("notes", sa.Text(), nullable=False),
        sa.CheckConstraint(
            "finished_at >= '1900-01-01 00:00:00+00' AND finished_at < '2200-01-01 00:00:00+00'", name=op.f("ck_charge_finished_at")
        ),
        sa.CheckConstraint("substr(cell_ohm, 1, 1) = '[' AND length(cell_ohm) > 2", name=op.f("ck_charge_cell_ohm")),
        sa.CheckConstraint("substr(end_v, 1, 1) = '[' AND length(end_v) > 2", name=op.f("ck_charge_end_v")),
        sa.CheckConstraint("length(goal) BETWEEN 1 AND 200", name=op.f("ck_charge_goal")),
        sa.CheckConstraint("pack_k BETWEEN 173.15 AND 423.15", name=op.f("ck_charge_pack_k")),
        sa.CheckConstraint("put_back_ah BETWEEN 0 AND 10000", name=op.f("ck_charge_put_back_ah")),
        sa.ForeignKeyConstraint(["pack_id"], ["pack.id"], name=op.f("fk_charge_pack_id_pack"), ondelete="RESTRICT"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_charge")),
        sa.UniqueConstraint("pack_id", "finished_at", name=op.f("uq_charge_pack_id_finished_at")),
        comment="charges, as written down",
    )
    op.create_table(
        "finding",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("pack_id", sa.Integer(), nullable=False),
        sa.Column("rule", sa.Text().with_variant(sa.Text(collation="C"), "postgresql"), nullable=False),
        sa.Column("severity", sa.Text().with_variant(sa.Text(collation="C"), "postgresql"), nullable=False),
        sa.Column("subject", sa.Text(), nullable=False, comment="the pack, controller or vehicle concerned"),
        sa.Column("message", sa.Text(), nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
        sa.Column("source", sa.Text(), nullable=True),
        sa.Column("at", sa.DateTime(timezone=True), nullable=True, comment="of the run or charge concerned, UTC"),
        sa.CheckConstraint("at >= '1900-01-01 00:00:00+00' AND at < '2200-01-01 00:00:00+00'", name=op.f("ck_finding_at")),
        sa.CheckConstraint("length(rule) BETWEEN 1 AND 200", name=op.f("ck_finding_rule")),
        sa.CheckConstraint("length(severity) BETWEEN 1 AND 200", name=op.f("ck_finding_severity")),
        sa.ForeignKeyConstraint(["pack_id"], ["pack.id"], name=op.f("fk_finding_pack_id_pack"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_finding")),
        comment="findings; all can be made again",
    )
    with op.batch_alter_table("finding", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_finding_pack_id"), ["pack_id"], unique=False)

    op.create_table(
        "pack_knowledge",
        sa.Column("pack_id", sa.Integer(), nullable=False),
        sa.Column(
            "model",
            sa.Text().with_variant(sa.Text(collation="C"), "postgresql"),
            nullable=False,
            comment="version of the model that made it",
        ),
        sa.Column("as_of", sa.DateTime(timezone=True), nullable=False, comment="history up to here went into it, UTC"),
        sa.Column("payload", sa.Text(), nullable=False, comment="JSON"),
        sa.CheckConstraint("as_of >= '1900-01-01 00:00:00+00' AND as_of < '2200-01-01 00:00:00+00'", name=op.f("ck_pack_knowledge_as_of")),
        sa.CheckConstraint("length(model) BETWEEN 1 AND 200", name=op.f("ck_pack_knowledge_model")),
        sa.ForeignKeyConstraint(["pack_id"], ["pack.id"], name=op.f("fk_pack_knowledge_pack_id_pack"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("pack_id", name=op.f("pk_pack_knowledge")),
        comment="what was learned of each pack; all can be learned again",
    )
    op.create_table(
        "run",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("pack_id", sa.Integer(), nullable=False),
        sa.Column("vehicle_id", sa.Integer(), nullable=True),
        sa.Column("started_at", sa.DateTime(timezone=True), nullable=False, comment="UTC"),
        sa.Column("run_s", sa.Double(), nullable=False, comment="length [s]"),
        sa.Column("rest_before_s", sa.Double(), nullable=True, comment="rest before the first reading [s]"),
        sa.Column("before_v", sa.Text(), nullable=True, comment="one number: the pack; several: the cells from the negative end [V]"),
        sa.Column("loaded_v", sa.Text(), nullable=True, comment="lowest seen under load [V]"),
        sa.Column("loaded_a", sa.Double(), nullable=True, comment="current at that moment, discharge positive [A]"),
        sa.Column("mean_a", sa.Double(), nullable=True, comment="mean current, discharge positive [A]"),
        sa.Column("used_ah", sa.Double(), nullable=True, comment="counted by a meter [Ah]"),
        sa.Column("after_v", sa.Text(), nullable=True, comment="rested, after the run [V]"),
        sa.Column("rest_after_s", sa.Double(), nullable=True, comment="rest before the last reading [s]"),
        sa.Column("cutoff_v", sa.Text(), nullable=True, comment="settings of the vehicle's controllers as driven [V]"),
        sa.Column("pack_k", sa.Double(), nullable=True, comment="temperature of the pack [K]"),
        sa.Column("ended_by", sa.Text().with_variant(sa.Text(collation="C"), "postgresql"), nullable=True, comment="what ended it"),
        sa.Column("notes", sa.Text(), nullable=False),
        sa.CheckConstraint(
            "started_at >= '1900-01-01 00:00:00+00' AND started_at < '2200-01-01 00:00:00+00'", name=op.f("ck_run_started_at")
        ),
        sa.CheckConstraint("substr(after_v, 1, 1) = '[' AND length(after_v) > 2", name=op.f("ck_run_after_v")),
        sa.CheckConstraint("substr(before_v, 1, 1) = '[' AND length(before_v) > 2", name=op.f("ck_run_before_v")),
        sa.CheckConstraint("substr(cutoff_v, 1, 1) = '[' AND length(cutoff_v) > 2", name=op.f("ck_run_cutoff_v")),
        sa.CheckConstraint("substr(loaded_v, 1, 1) = '[' AND length(loaded_v) > 2", name=op.f("ck_run_loaded_v")),
        sa.CheckConstraint("length(ended_by) BETWEEN 1 AND 200", name=op.f("ck_run_ended_by")),
        sa.CheckConstraint("loaded_a BETWEEN 0 AND 10000", name=op.f("ck_run_loaded_a")),
        sa.CheckConstraint("mean_a BETWEEN 0 AND 10000", name=op.f("ck_run_mean_a")),
        sa.CheckConstraint("pack_k BETWEEN 173.15 AND 423.15", name=op.f("ck_run_pack_k")),
        sa.CheckConstraint("rest_after_s BETWEEN 0 AND 1e+09", name=op.f("ck_run_rest_after_s")),
        sa.CheckConstraint("rest_before_s BETWEEN 0 AND 1e+09", name=op.f("ck_run_rest_before_s")),
        sa.CheckConstraint("run_s > 0 AND run_s <= 1e+09", name=op.f("ck_run_run_s")),
        sa.CheckConstraint("used_ah BETWEEN 0 AND 10000", name=op.f("ck_run_used_ah")),
        sa.ForeignKeyConstraint(["pack_id"], ["pack.id"], name=op.f("fk_run_pack_id_pack"), ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(["vehicle_id"], ["vehicle.id"], name=op.f("fk_run_vehicle_id_vehicle"), ondelete="RESTRICT"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_run")),
        sa.UniqueConstraint("pack_id", "started_at", name=op.f("uq_run_pack_id_started_at")),
        comment="runs, as written down",
    )
    with op.batch_alter_table("run", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_run_vehicle_id"), ["vehicle_id"], unique=False)

    op.create_table(
        "vehicle_controller",
        sa.Column("vehicle_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False, comment="from 1, in the order the vehicle names them"),
        sa.Column("controller_id", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "position BETWEEN 1 AND 1000 AND position = CAST(position AS INTEGER)", name=op.f("ck_vehicle_controller_position")
        ),
        sa.ForeignKeyConstraint(
            ["controller_id"], ["controller.id"], name=op.f("fk_vehicle_controller_controller_id_controller"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(["vehicle_id"], ["vehicle.id"], name=op.f("fk_vehicle_controller_vehicle_id_vehicle"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("vehicle_id", "position", name=op.f("pk_vehicle_controller")),
        sa.UniqueConstraint("vehicle_id", "controller_id", name=op.f("uq_vehicle_controller_vehicle_id_controller_id")),
        comment="which controllers a vehicle carries",
    )
    with op.batch_alter_table("vehicle_controller", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_vehicle_controller_controller_id"), ["controller_id"], unique=False)

    op.create_table(
        "run_estimate",
        sa.Column("run_id", sa.Integer(), nullable=False),
        sa.Column(
            "model",
            sa.Text().with_variant(sa.Text(collation="C"), "postgresql"),
            nullable=False,
            comment="version of the model that made it",
        ),
        sa.Column(
            "worst_grade",
            sa.Text().with_variant(sa.Text(collation="C"), "postgresql"),
            nullable=True,
            comment="grade of the cell driven furthest",
        ),
        sa.Column("payload", sa.Text(), nullable=False, comment="the estimate as a JSON list"),
        sa.CheckConstraint("length(model) BETWEEN 1 AND 200", name=op.f("ck_run_estimate_model")),
        sa.CheckConstraint("length(worst_grade) BETWEEN 1 AND 200", name=op.f("ck_run_estimate_worst_grade")),
        sa.ForeignKeyConstraint(["run_id"], ["run.id"], name=op.f("fk_run_estimate_run_id_run"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("run_id", name=op.f("pk_run_estimate")),
        comment="estimates of runs; all can be made again",
    )
    with op.batch_alter_table("run_estimate", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_run_estimate_model_run_id"), ["model", "run_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_run_estimate_worst_grade"), ["worst_grade"], unique=False)


def downgrade() -> None:
    """Bring a database of this version back to the one before."""
    with op.batch_alter_table("run_estimate", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_run_estimate_worst_grade"))
        batch_op.drop_index(batch_op.f("ix_run_estimate_model_run_id"))

    op.drop_table("run_estimate")
    with op.batch_alter_table("vehicle_controller", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_vehicle_controller_controller_id"))

    op.drop_table("vehicle_controller")
    with op.batch_alter_table("run", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_run_vehicle_id"))

    op.drop_table("run")
    op.drop_table("pack_knowledge")
    with op.batch_alter_table("finding", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_finding_pack_id"))

    op.drop_table("finding")
    op.drop_table("charge")
    op.drop_table("bench_reading")
    op.drop_table("vehicle")
    op.drop_table("pack")
    op.drop_table("controller")
