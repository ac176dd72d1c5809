"""Runs the schema steps on a connection that the catalogue hands over."""

from alembic import context

from archive.catalogue.rows import Base

connection = context.config.attributes["connection"]
context.configure(connection=connection, target_metadata=Base.metadata, transactional_ddl=True)
with context.begin_transaction():
    context.run_migrations()
