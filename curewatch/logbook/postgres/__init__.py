"""A logbook in a PostgreSQL database: the same chain, many sheds, several tenants."""
