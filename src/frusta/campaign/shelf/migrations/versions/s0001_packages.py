"""The first shelf: packages, table by table, and their files."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Make the tables."""
    op.create_table(
        "entries",
        sa.Column("entry", sa.String(64), primary_key=True),
        sa.Column("content", sa.String(64), nullable=False),
        sa.Column("source", sa.Text(), nullable=False),
        sa.Column("added_at", sa.String(32), nullable=False),
        sa.Column("changed_at", sa.String(32), nullable=False),
    )
    op.create_table(
        "files",
        sa.Column("entry", sa.String(64), primary_key=True),
        sa.Column("path", sa.String(512), primary_key=True),
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("size", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["entry"], ["entries.entry"], ondelete="CASCADE"),
    )
    op.create_index("ix_files_sha256", "files", ["sha256"])
    op.create_table(
        "rows_campaign",
        sa.Column("entry", sa.String(64), primary_key=True),
        sa.Column("place", sa.Integer(), primary_key=True),
        sa.Column("campaign", sa.Text(), nullable=False),
        sa.Column("title", sa.Text(), nullable=False),
        sa.Column("question", sa.Text()),
        sa.Column("band_low_hz", sa.Float()),
        sa.Column("band_high_hz", sa.Float()),
        sa.Column("licence", sa.Text()),
        sa.Column("notes", sa.Text()),
        sa.Column("extra_columns", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["entry"], ["entries.entry"], ondelete="CASCADE"),
    )
    op.create_table(
        "rows_materials",
        sa.Column("entry", sa.String(64), primary_key=True),
        sa.Column("place", sa.Integer(), primary_key=True),
        sa.Column("material", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("polymer", sa.Text()),
        sa.Column("density_kg_m3", sa.Float()),
        sa.Column("poisson", sa.Float()),
        sa.Column("heat_deflection_c", sa.Float()),
        sa.Column("notes", sa.Text()),
        sa.Column("extra_columns", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["entry"], ["entries.entry"], ondelete="CASCADE"),
    )
    op.create_table(
        "rows_recipes",
        sa.Column("entry", sa.String(64), primary_key=True),
        sa.Column("place", sa.Integer(), primary_key=True),
        sa.Column("recipe", sa.Text(), nullable=False),
        sa.Column("layer_mm", sa.Float()),
        sa.Column("line_width_mm", sa.Float()),
        sa.Column("lines", sa.Float()),
        sa.Column("nozzle_c", sa.Float()),
        sa.Column("bed_c", sa.Float()),
        sa.Column("speed_mm_s", sa.Float()),
        sa.Column("orientation", sa.Text()),
        sa.Column("dried", sa.Text()),
        sa.Column("notes", sa.Text()),
        sa.Column("extra_columns", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["entry"], ["entries.entry"], ondelete="CASCADE"),
    )
    op.create_table(
        "rows_profiles",
        sa.Column("entry", sa.String(64), primary_key=True),
        sa.Column("place", sa.Integer(), primary_key=True),
        sa.Column("profile", sa.Text(), nullable=False),
        sa.Column("shape", sa.Text(), nullable=False),
        sa.Column("neck_radius_mm", sa.Float(), nullable=False),
        sa.Column("rim_radius_mm", sa.Float(), nullable=False),
        sa.Column("depth_mm", sa.Float(), nullable=False),
        sa.Column("bow_mm", sa.Float(), nullable=False),
        sa.Column("wall_mm", sa.Float(), nullable=False),
        sa.Column("wall_rule", sa.Text()),
        sa.Column("cap", sa.Text()),
        sa.Column("notes", sa.Text()),
        sa.Column("extra_columns", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["entry"], ["entries.entry"], ondelete="CASCADE"),
    )
    op.create_table(
        "rows_rigs",
        sa.Column("entry", sa.String(64), primary_key=True),
        sa.Column("place", sa.Integer(), primary_key=True),
        sa.Column("rig", sa.Text(), nullable=False),
        sa.Column("mounting", sa.Text(), nullable=False),
        sa.Column("microphone_distance_mm", sa.Float(), nullable=False),
        sa.Column("microphone_calibration", sa.Text()),
        sa.Column("suspension_stiffness_n_mm", sa.Float()),
        sa.Column("suspension_resistance_ns_m", sa.Float()),
        sa.Column("force_factor_tm", sa.Float()),
        sa.Column("moving_mass_g", sa.Float()),
        sa.Column("neck_stiffness_n_um", sa.Float()),
        sa.Column("coil_mass_g", sa.Float()),
        sa.Column("coil_resistance_ohm", sa.Float()),
        sa.Column("coil_inductance_mh", sa.Float()),
        sa.Column("full_scale_pa", sa.Float()),
        sa.Column("drive_full_scale_v", sa.Float()),
        sa.Column("notes", sa.Text()),
        sa.Column("extra_columns", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["entry"], ["entries.entry"], ondelete="CASCADE"),
    )
    op.create_table(
        "rows_sessions",
        sa.Column("entry", sa.String(64), primary_key=True),
        sa.Column("place", sa.Integer(), primary_key=True),
        sa.Column("session", sa.Text(), nullable=False),
        sa.Column("rig", sa.Text(), nullable=False),
        sa.Column("date", sa.Text(), nullable=False),
        sa.Column("full_scale_pa", sa.Float()),
        sa.Column("drive_full_scale_v", sa.Float()),
        sa.Column("temperature_c", sa.Float()),
        sa.Column("humidity_pct", sa.Float()),
        sa.Column("notes", sa.Text()),
        sa.Column("extra_columns", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["entry"], ["entries.entry"], ondelete="CASCADE"),
    )
    op.create_table(
        "rows_sweeps",
        sa.Column("entry", sa.String(64), primary_key=True),
        sa.Column("place", sa.Integer(), primary_key=True),
        sa.Column("sweep", sa.Text(), nullable=False),
        sa.Column("signal", sa.Text()),
        sa.Column("start_hz", sa.Float()),
        sa.Column("stop_hz", sa.Float()),
        sa.Column("duration_s", sa.Float()),
        sa.Column("lead_in_s", sa.Float()),
        sa.Column("tail_s", sa.Float()),
        sa.Column("fade_in_s", sa.Float()),
        sa.Column("fade_out_s", sa.Float()),
        sa.Column("level_dbfs", sa.Float()),
        sa.Column("sample_rate_hz", sa.Integer()),
        sa.Column("extra_columns", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["entry"], ["entries.entry"], ondelete="CASCADE"),
    )
    op.create_table(
        "rows_specimens",
        sa.Column("entry", sa.String(64), primary_key=True),
        sa.Column("place", sa.Integer(), primary_key=True),
        sa.Column("specimen", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("material", sa.Text()),
        sa.Column("recipe", sa.Text()),
        sa.Column("profile", sa.Text()),
        sa.Column("mass_g", sa.Float()),
        sa.Column("mass_with_coil_g", sa.Float()),
        sa.Column("mass_u_g", sa.Float()),
        sa.Column("coil_mass_g", sa.Float()),
        sa.Column("coil_resistance_ohm", sa.Float()),
        sa.Column("coil_inductance_mh", sa.Float()),
        sa.Column("wall_neck_mm", sa.Float()),
        sa.Column("wall_rim_mm", sa.Float()),
        sa.Column("rim_radius_mm", sa.Float()),
        sa.Column("printed_on", sa.Text()),
        sa.Column("batch", sa.Text()),
        sa.Column("notes", sa.Text()),
        sa.Column("extra_columns", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["entry"], ["entries.entry"], ondelete="CASCADE"),
    )
    op.create_table(
        "rows_coupons",
        sa.Column("entry", sa.String(64), primary_key=True),
        sa.Column("place", sa.Integer(), primary_key=True),
        sa.Column("specimen", sa.Text(), nullable=False),
        sa.Column("coupon", sa.Text(), nullable=False),
        sa.Column("length_mm", sa.Float()),
        sa.Column("width_mm", sa.Float()),
        sa.Column("thickness_mm", sa.Float(), nullable=False),
        sa.Column("diameter_mm", sa.Float()),
        sa.Column("orientation", sa.Text(), nullable=False),
        sa.Column("extra_columns", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["entry"], ["entries.entry"], ondelete="CASCADE"),
    )
    op.create_table(
        "rows_history",
        sa.Column("entry", sa.String(64), primary_key=True),
        sa.Column("place", sa.Integer(), primary_key=True),
        sa.Column("specimen", sa.Text(), nullable=False),
        sa.Column("date", sa.Text(), nullable=False),
        sa.Column("event", sa.Text(), nullable=False),
        sa.Column("details", sa.Text()),
        sa.Column("extra_columns", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["entry"], ["entries.entry"], ondelete="CASCADE"),
    )
    op.create_table(
        "rows_takes",
        sa.Column("entry", sa.String(64), primary_key=True),
        sa.Column("place", sa.Integer(), primary_key=True),
        sa.Column("take", sa.Text(), nullable=False),
        sa.Column("specimen", sa.Text(), nullable=False),
        sa.Column("session", sa.Text()),
        sa.Column("rig", sa.Text()),
        sa.Column("sweep", sa.Text()),
        sa.Column("seating", sa.Integer(), nullable=False),
        sa.Column("recording", sa.Text(), nullable=False),
        sa.Column("recording_is", sa.Text()),
        sa.Column("microphone_channel", sa.Integer()),
        sa.Column("reference_channel", sa.Integer()),
        sa.Column("current_channel", sa.Integer()),
        sa.Column("drive_gain_db", sa.Float()),
        sa.Column("rotation_deg", sa.Float()),
        sa.Column("taken_at", sa.Text()),
        sa.Column("notes", sa.Text()),
        sa.Column("extra_columns", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["entry"], ["entries.entry"], ondelete="CASCADE"),
    )
    op.create_table(
        "rows_overhangs",
        sa.Column("entry", sa.String(64), primary_key=True),
        sa.Column("place", sa.Integer(), primary_key=True),
        sa.Column("material", sa.Text(), nullable=False),
        sa.Column("recipe", sa.Text()),
        sa.Column("coupon", sa.Text()),
        sa.Column("clean_to_deg", sa.Float()),
        sa.Column("failed_at_deg", sa.Float()),
        sa.Column("failed_height_mm", sa.Float()),
        sa.Column("notes", sa.Text()),
        sa.Column("extra_columns", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["entry"], ["entries.entry"], ondelete="CASCADE"),
    )


def downgrade() -> None:
    """Take the tables away."""
    op.drop_table("rows_overhangs")
    op.drop_table("rows_takes")
    op.drop_table("rows_history")
    op.drop_table("rows_coupons")
    op.drop_table("rows_specimens")
    op.drop_table("rows_sweeps")
    op.drop_table("rows_sessions")
    op.drop_table("rows_rigs")
    op.drop_table("rows_profiles")
    op.drop_table("rows_recipes")
    op.drop_table("rows_materials")
    op.drop_table("rows_campaign")
    op.drop_table("files")
    op.drop_table("entries")
