"""The station's commands as somebody types them, each on a real pty with a machine behind it."""

import os
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from tests.browser.site import ROOT
from tests.station.machines import Punch, Reader

BAUD: Final = "115200"
LONGEST_S: Final = 60


@dataclass(frozen=True)
class Station:
    """The computer beside the machines; `token` is that of whoever works at it."""

    folder: Path
    archive: str
    token: str

    def read(self, name: str, frames: bytes, *about: str) -> str:
        """Read a tape of these frames into a file and send it; what the command said."""
        machine = Reader(frames)
        machine.start()
        try:
            said = self._run(
                "read",
                machine.port,
                str(self.folder / name),
                "--baud",
                BAUD,
                "--reader-control",
                "--outbox",
                str(self.folder / "outbox"),
                *about,
            )
        finally:
            machine.close()
        return said

    def punch(self, address: str) -> tuple[bytes, str]:
        """Punch what lies at an address; the frames that reached the punch, and what was said."""
        machine = Punch()
        machine.start()
        try:
            said = self._run("punch", machine.port, address, "--baud", BAUD, "--yes")
        finally:
            machine.close()
        return bytes(machine.heard), said

    def _run(self, *words: str) -> str:
        told = {"ARCHIVE": self.archive, "TOKEN": self.token}
        done = subprocess.run(
            [sys.executable, "-m", "server", *words],
            cwd=ROOT,
            check=False,
            env=_without_settings() | {f"FEEDHOLE_{name}": value for name, value in told.items()},
            capture_output=True,
            text=True,
            timeout=LONGEST_S,
        )
        assert done.returncode == 0, done.stdout + done.stderr
        return done.stdout + done.stderr


def _without_settings() -> dict[str, str]:
    return {
        name: value
        for name, value in os.environ.items()
        if not name.startswith("FEEDHOLE_") and not name.lower().endswith("_proxy")
    }
