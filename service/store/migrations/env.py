"""How a schema change is run: inside the transaction that the caller opened."""

from alembic import context

context.configure(connection=context.config.attributes["connection"], transactional_ddl=True)
context.run_migrations()
