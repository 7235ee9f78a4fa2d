"""What alembic runs: the steps, on the connection and inside the transaction of the caller."""

from __future__ import annotations

from alembic import context

context.configure(
    connection=context.config.attributes["connection"],
    version_table=context.config.attributes["version_table"],
)
context.run_migrations()
