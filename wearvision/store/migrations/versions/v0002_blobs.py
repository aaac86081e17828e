"""The list of blobs, with its guards."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from wearvision.store.sqlite import GUARDS

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Add the table `blobs`."""
    op.create_table(
        "blobs",
        sa.Column("sha256", sa.Text, primary_key=True),
        sa.Column("suffix", sa.Text, nullable=False),
        sa.Column("size_bytes", sa.Integer, nullable=False),
    )
    if op.get_bind().dialect.name == "sqlite":
        for guard in GUARDS["blobs"].values():
            op.get_bind().exec_driver_sql(guard)
