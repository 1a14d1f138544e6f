"""The rules: what may happen to the records of the archive, and what is then recorded."""
