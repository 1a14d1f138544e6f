"""A PostgreSQL server for one run of the tests, from the binaries that Debian installs."""

import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy import URL

ADMINISTRATOR = "postgres"
"""Both the database's first user and, where root runs the tests, the user that it runs as."""

SERVER_OPTIONS = (
    "listen_addresses=''",
    "fsync=off",
    "synchronous_commit=off",
    "full_page_writes=off",
    "shared_buffers=32MB",
    "max_connections=60",
)
"""No network, and no waiting for the disk: the data dies with the run anyway."""


class NoPostgres(Exception):
    """The server's binaries are not installed, or it does not start."""


def binaries() -> Path:
    """The folder of the newest server installed."""
    folders = [path.parent for path in Path("/usr/lib/postgresql").glob("*/bin/initdb")]
    on_path = shutil.which("initdb")
    if on_path:
        folders.append(Path(on_path).resolve().parent)
    if not folders:
        raise NoPostgres("PostgreSQL is not installed: apt-get install postgresql")
    return max(folders, key=lambda folder: float(folder.parent.name or 0))


def run(program: str, *arguments: str | Path) -> None:
    """Run one of the server's programs, as another user where root may not."""
    as_other = ADMINISTRATOR if os.geteuid() == 0 else None
    done = subprocess.run(
        [binaries() / program, *arguments],
        user=as_other,
        group=as_other,
        extra_groups=None if as_other is None else [],
        cwd="/",
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
        check=False,
        timeout=60,
    )
    if done.returncode:
        raise NoPostgres(f"{program} failed: {done.stderr}")


@contextmanager
def postgres_server(*more_options: str) -> Iterator[URL]:
    """A running server, reached through a socket in its own folder; gone afterwards."""
    folder = Path(tempfile.mkdtemp(prefix="feedhole-pg-"))
    if os.geteuid() == 0:
        shutil.chown(folder, ADMINISTRATOR, ADMINISTRATOR)
    data = folder / "data"
    try:
        run("initdb", "-D", data, "-U", ADMINISTRATOR, "-A", "trust", "-N", "-E", "UTF8",
            "--locale=C.UTF-8")  # fmt: skip
        options = " ".join(
            f"-c {option}"
            for option in (*SERVER_OPTIONS, *more_options, f"unix_socket_directories={folder}")
        )
        run("pg_ctl", "-D", data, "-w", "-l", folder / "log", "-o", options, "start")
        try:
            yield URL.create(
                "postgresql+psycopg",
                username=ADMINISTRATOR,
                database="postgres",
                query={"host": str(folder)},
            )
        finally:
            run("pg_ctl", "-D", data, "-m", "immediate", "stop")
    finally:
        shutil.rmtree(folder)
