"""The demonstration, served for one test from a database of its own, as its command serves it."""

import shutil
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import httpx

ROOT = Path(__file__).resolve().parents[2]
LONGEST_START = 30.0


def load(database: Path) -> None:
    """Make the demonstration's library in a new file."""
    subprocess.run([*_command(database), "--no-serve"], cwd=ROOT, check=True, timeout=300)


@contextmanager
def served(library: Path, folder: Path) -> Iterator[str]:
    """The URL of a server on a copy of `library`, until the block ends."""
    database = folder / "library.db"
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
