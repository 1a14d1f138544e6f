"""The tape core: bytes in, values out. It knows no web, database, clock, network or file."""
