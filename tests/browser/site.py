"""The demonstration, served from a database of its own, as its command serves it."""

import shutil
import socket
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import httpx

ROOT = Path(__file__).resolve().parents[2]
LONGEST_START = 30.0
DATABASE = "library.db"


def load(database: Path) -> None:
    """Make the demonstration's library in a new file."""
    subprocess.run([*_command(database), "--no-serve"], cwd=ROOT, check=True, timeout=300)


@contextmanager
def served(library: Path, folder: Path) -> Iterator[str]:
    """The URL of a server on a copy of `library`, until the block ends."""
    database = folder / DATABASE
    shutil.copyfile(library, database)
    port = _free_port()
    process = subprocess.Popen([*_command(database), "--port", str(port)], cwd=ROOT)
    try:
        url = f"http://127.0.0.1:{port}"
        _wait_for(url, process)
        yield url
    finally:
        process.terminate()
        process.wait(timeout=20)


def restore(library: Path, folder: Path) -> None:
    """Let the server of `folder` have the library again as it is, whatever was done to its copy.

    Its connections stay: to start a server takes longer than most tests.
    """
    with (
        closing(sqlite3.connect(library)) as whole,
        closing(sqlite3.connect(folder / DATABASE)) as own,
    ):
        whole.backup(own)


def _command(database: Path) -> list[str]:
    return [sys.executable, "-m", "server", "demo", "--database", f"sqlite:///{database}"]


def _free_port() -> int:
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        port: int = listening.getsockname()[1]
        return port


def _wait_for(url: str, process: subprocess.Popen[bytes]) -> None:
    deadline = time.monotonic() + LONGEST_START
    with httpx.Client(timeout=5, trust_env=False) as client:
        while time.monotonic() < deadline and process.poll() is None:
            try:
                client.get(url).raise_for_status()
            except httpx.HTTPError:
                time.sleep(0.05)
            else:
                return
    raise RuntimeError(f"the demonstration did not start within {LONGEST_START} s at {url}")
