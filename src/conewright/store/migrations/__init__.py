"""The steps from an empty database to today's tables, run by alembic."""
