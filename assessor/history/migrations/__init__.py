"""Schema steps of the store, run by alembic; each is backed up before."""
