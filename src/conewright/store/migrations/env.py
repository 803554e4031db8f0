"""Run by alembic, never imported: the migrations, on the connection it was handed."""

from alembic import context

from conewright.store.schema import VERSION_TABLE, metadata

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=metadata,
    version_table=VERSION_TABLE,
    render_as_batch=True,
)
context.run_migrations()
