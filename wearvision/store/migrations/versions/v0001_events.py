"""The chain of events, with its guards."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from wearvision.store.sqlite import GUARDS

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Add the table `events`."""
    op.create_table(
        "events",
        sa.Column("seq", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("at", sa.Text, nullable=False),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("tag", sa.Text, nullable=False),
        sa.Column("payload", sa.Text, nullable=False),
        sa.Column("prev_hash", sa.Text, nullable=False),
        sa.Column("hash", sa.Text, nullable=False),
    )
    op.create_index("events_by_tag", "events", ["tag", "seq"])
    op.create_index("events_by_kind", "events", ["kind", "seq"])
    if op.get_bind().dialect.name == "sqlite":
        for guard in GUARDS["events"].values():
            op.get_bind().exec_driver_sql(guard)
