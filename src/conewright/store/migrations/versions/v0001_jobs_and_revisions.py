"""Jobs and their revisions."""

import sqlalchemy as sa
from alembic import op
from sqlalchemy.dialects.postgresql import JSONB

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Make the tables of jobs and revisions."""
    op.create_table(
        "jobs",
        sa.Column("id", sa.String(60), nullable=False),
        sa.Column("slug", sa.String(60), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_jobs"),
    )
    op.create_index("ix_jobs_slug", "jobs", ["slug"])
    op.create_table(
        "revisions",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("job_id", sa.String(60), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("saved_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("deleted", sa.Boolean(), nullable=False),
        sa.Column("about", sa.JSON().with_variant(JSONB(), "postgresql"), nullable=False),
        sa.Column("words", sa.Text(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_revisions"),
        sa.ForeignKeyConstraint(["job_id"], ["jobs.id"], name="fk_revisions_job_id"),
        sa.UniqueConstraint("job_id", "number", name="uq_revisions_job_id_number"),
    )
