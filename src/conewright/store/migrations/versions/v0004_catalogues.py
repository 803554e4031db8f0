"""Catalogues of parts, every version of each."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"


def upgrade() -> None:
    """Make the table of catalogues."""
    op.create_table(
        "catalogues",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(60), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("imported_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("source", sa.Text(), nullable=False),
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("parts", sa.Integer(), nullable=False),
        sa.Column("map", sa.Text(), nullable=False),
        sa.Column("compiled_with", sa.String(64), nullable=False),
        sa.Column("text", sa.LargeBinary(), nullable=False),
        sa.Column("compiled", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_catalogues"),
        sa.UniqueConstraint("name", "number", name="uq_catalogues_name_number"),
    )
