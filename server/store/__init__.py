"""Keeps the library: tables, the engine, migrations, and what differs by database."""
