"""Indices for what a search joins by: ten thousand takes are searched several times as fast."""

from __future__ import annotations

from alembic import op

revision = "0003"
down_revision = "0002"

INDICES = (
    ("ix_readings_take", "readings", ["entry", "take"]),
    ("ix_rows_specimens_specimen", "rows_specimens", ["entry", "specimen"]),
    ("ix_rows_sessions_session", "rows_sessions", ["entry", "session"]),
    ("ix_rows_materials_material", "rows_materials", ["entry", "material"]),
    ("ix_rows_history_specimen", "rows_history", ["entry", "specimen"]),
)


def upgrade() -> None:
    """Make the indices."""
    for name, table, columns in INDICES:
        op.create_index(name, table, columns)


def downgrade() -> None:
    """Take the indices away."""
    for name, table, _ in INDICES:
        op.drop_index(name, table)
