"""Findings beside the packages: whole, and readings and modes for search."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Make the tables."""
    op.create_table(
        "analyses",
        sa.Column("entry", sa.String(64), primary_key=True),
        sa.Column("content", sa.String(64), nullable=False),
        sa.Column("made_by", sa.String(64), nullable=False),
        sa.Column("findings", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["entry"], ["entries.entry"], ondelete="CASCADE"),
    )
    op.create_table(
        "readings",
        sa.Column("entry", sa.String(64), primary_key=True),
        sa.Column("place", sa.Integer(), primary_key=True),
        sa.Column("take", sa.Text()),
        sa.Column("specimen", sa.Text()),
        sa.Column("kind", sa.Text()),
        sa.Column("material", sa.Text()),
        sa.Column("recipe", sa.Text()),
        sa.Column("profile", sa.Text()),
        sa.Column("session", sa.Text()),
        sa.Column("seating", sa.Integer()),
        sa.Column("level_db", sa.Float()),
        sa.Column("level_db_u", sa.Float()),
        sa.Column("lower_limit_hz", sa.Float()),
        sa.Column("lower_limit_hz_u", sa.Float()),
        sa.Column("upper_limit_hz", sa.Float()),
        sa.Column("upper_limit_hz_u", sa.Float()),
        sa.Column("unevenness_db", sa.Float()),
        sa.Column("unevenness_db_u", sa.Float()),
        sa.Column("unevenness_common_db", sa.Float()),
        sa.Column("unevenness_common_db_u", sa.Float()),
        sa.Column("breakup_hz", sa.Float()),
        sa.Column("breakup_hz_u", sa.Float()),
        sa.Column("breakup_loss_factor", sa.Float()),
        sa.Column("breakup_loss_factor_u", sa.Float()),
        sa.Column("breakup_prominence_db", sa.Float()),
        sa.Column("breakup_prominence_db_u", sa.Float()),
        sa.Column("tallest_peak_hz", sa.Float()),
        sa.Column("tallest_peak_hz_u", sa.Float()),
        sa.Column("tallest_peak_db", sa.Float()),
        sa.Column("tallest_peak_db_u", sa.Float()),
        sa.Column("piston_limit_hz", sa.Float()),
        sa.Column("piston_limit_hz_u", sa.Float()),
        sa.Column("thd_peak_percent", sa.Float()),
        sa.Column("thd_peak_percent_u", sa.Float()),
        sa.Column("thd_peak_hz", sa.Float()),
        sa.Column("thd_peak_hz_u", sa.Float()),
        sa.Column("piston_thd_peak_percent", sa.Float()),
        sa.Column("piston_thd_peak_percent_u", sa.Float()),
        sa.Column("piston_thd_peak_hz", sa.Float()),
        sa.Column("piston_thd_peak_hz_u", sa.Float()),
        sa.Column("input_thd_peak_percent", sa.Float()),
        sa.Column("input_thd_peak_percent_u", sa.Float()),
        sa.Column("input_thd_peak_hz", sa.Float()),
        sa.Column("input_thd_peak_hz_u", sa.Float()),
        sa.Column("buzz_peak_percent", sa.Float()),
        sa.Column("buzz_peak_percent_u", sa.Float()),
        sa.Column("buzz_peak_hz", sa.Float()),
        sa.Column("buzz_peak_hz_u", sa.Float()),
        sa.Column("decay_5_percent_ms", sa.Float()),
        sa.Column("decay_5_percent_ms_u", sa.Float()),
        sa.Column("decay_2_percent_ms", sa.Float()),
        sa.Column("decay_2_percent_ms_u", sa.Float()),
        sa.Column("decay_bandlimit_ms", sa.Float()),
        sa.Column("decay_bandlimit_ms_u", sa.Float()),
        sa.Column("delay_ms", sa.Float()),
        sa.Column("delay_ms_u", sa.Float()),
        sa.Column("snr_db", sa.Float()),
        sa.Column("snr_db_u", sa.Float()),
        sa.Column("clock_ppm", sa.Float()),
        sa.Column("clock_ppm_u", sa.Float()),
        sa.Column("quality", sa.String(8)),
        sa.ForeignKeyConstraint(["entry"], ["entries.entry"], ondelete="CASCADE"),
    )
    op.create_table(
        "modes",
        sa.Column("entry", sa.String(64), primary_key=True),
        sa.Column("place", sa.Integer(), primary_key=True),
        sa.Column("take", sa.Text()),
        sa.Column("mode_number", sa.Integer()),
        sa.Column("circumferential_order", sa.Integer()),
        sa.Column("frequency_hz", sa.Float()),
        sa.Column("frequency_hz_u", sa.Float()),
        sa.Column("loss_factor", sa.Float()),
        sa.Column("loss_factor_u", sa.Float()),
        sa.Column("prominence_db", sa.Float()),
        sa.Column("free_frequency_hz", sa.Float()),
        sa.Column("free_frequency_hz_u", sa.Float()),
        sa.Column("free_loss_factor", sa.Float()),
        sa.Column("free_loss_factor_u", sa.Float()),
        sa.ForeignKeyConstraint(["entry"], ["entries.entry"], ondelete="CASCADE"),
    )


def downgrade() -> None:
    """Take the tables away."""
    op.drop_table("modes")
    op.drop_table("readings")
    op.drop_table("analyses")
