"""The tables of the store, as they are after the last migration."""

from datetime import UTC, datetime

from sqlalchemy import (
    JSON,
    Boolean,
    Column,
    DateTime,
    Dialect,
    ForeignKey,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    Text,
    TypeDecorator,
    UniqueConstraint,
)
from sqlalchemy.dialects.postgresql import JSONB

__all__ = [
    "HEAD",
    "VERSION_TABLE",
    "UtcTime",
    "catalogues",
    "devices",
    "jobs",
    "metadata",
    "revisions",
]

HEAD = "0004"
"""The version these tables belong to: the last file in migrations/versions."""
VERSION_TABLE = "conewright_version"


class UtcTime(TypeDecorator[datetime]):
    """A moment that keeps its time zone in every database: written and read in UTC."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, _dialect: Dialect) -> datetime | None:
        """Return the moment in UTC."""
        return None if value is None else value.astimezone(UTC)

    def process_result_value(self, value: datetime | None, _dialect: Dialect) -> datetime | None:
        """Return the moment in UTC, also from a database that forgot the zone."""
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


metadata = MetaData(
    naming_convention={
        "pk": "pk_%(table_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    }
)

jobs = Table(
    "jobs",
    metadata,
    Column("id", String(60), primary_key=True),
    Column("slug", String(60), nullable=False, index=True),
)

# Rows are only ever added here. The unique pair is what turns two saves from the same revision
# into a conflict instead of a lost one. The text comes last: lists are read without it.
revisions = Table(
    "revisions",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("job_id", ForeignKey("jobs.id"), nullable=False),
    Column("number", Integer, nullable=False),
    Column("saved_at", UtcTime, nullable=False),
    Column("who", Text, nullable=False),
    Column("note", Text, nullable=False),
    Column("deleted", Boolean, nullable=False),
    Column("about", JSON().with_variant(JSONB(), "postgresql"), nullable=False),
    Column("words", Text, nullable=False),
    Column("text", Text, nullable=False),
    UniqueConstraint("job_id", "number"),
)

devices = Table(
    "devices",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("name", Text, nullable=False),
    Column("token_hash", String(200), nullable=False, unique=True),
    Column("paired_at", UtcTime, nullable=False),
    Column("revoked_at", UtcTime, nullable=True),
    Column("used_at", UtcTime, nullable=True),
)

# Rows are only ever added here as well. The text is the catalogue itself, compressed CSV; what is
# compiled follows from it by the tables and rules that `compiled_with` names.
catalogues = Table(
    "catalogues",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("name", String(60), nullable=False),
    Column("number", Integer, nullable=False),
    Column("imported_at", UtcTime, nullable=False),
    Column("who", Text, nullable=False),
    Column("source", Text, nullable=False),
    Column("sha256", String(64), nullable=False),
    Column("parts", Integer, nullable=False),
    Column("map", Text, nullable=False),
    Column("compiled_with", String(64), nullable=False),
    Column("text", LargeBinary, nullable=False),
    Column("compiled", LargeBinary, nullable=False),
    UniqueConstraint("name", "number"),
)
