"""Runs the steps on the connection, and in the transaction, that `scheduler.storage.migrate` hands in."""

from alembic import context

from scheduler.storage.migrate import OPTIONS

context.configure(connection=context.config.attributes["connection"], **OPTIONS)
with context.begin_transaction():
    context.run_migrations()
