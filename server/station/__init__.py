"""The station: frames between a serial line and a file, and from there to an archive.

It stands at the machine, where there may be no network and never is a database, so it knows the
tape core, pyserial and httpx, and nothing else of this program.
"""
