"""How bytes go out and come in over HTTP: conditions, ranges and digests. Used by pages and API."""
