"""Readings that wait for an archive: the frames and, beside them, what is to be said of them.

Every reading that is to be sent goes through here, so that there is one way only. A name is
`reel-20261125T134500Z`, so no two passes share one, and the archive knows the reading by it.
The frames are put down first and what is said of them last, in one step each: a reading whose
`.json` is there is whole. Once sent, the `.json` becomes `.sent.json`, which is the record of it,
and then the frames go.
"""

import fcntl
import hashlib
import json
import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from itertools import count
from pathlib import Path
from typing import Any, Final

from server.station.errors import NotPossible
from server.station.part_file import sync_folder, write_whole

_SENT: Final = ".sent.json"
_LONGEST_STEM: Final = 100


@dataclass(frozen=True, slots=True, kw_only=True)
class About:
    """What is said of a reading; an empty string or None says nothing.

    Where it reads a new tape back, `punching` is the number of that punching; `line_faults` are
    the frames that came damaged over the line, in the last pass.
    """

    file_name: str
    sha256: str
    frames: int
    read_on: str
    tape: str = ""
    levels: int | None = None
    reader: str = ""
    punching: int | None = None
    line_faults: tuple[int, ...] = ()

    @property
    def fields(self) -> dict[str, str]:
        """The fields of the upload."""
        given = {
            "sha256": self.sha256,
            "read_on": self.read_on,
            "tape": self.tape,
            "reader": self.reader,
            "levels": "" if self.levels is None else str(self.levels),
        }
        return {name: value for name, value in given.items() if value}


@dataclass(frozen=True, slots=True)
class Waiting:
    """A reading in the outbox, by the name of its files without what follows the dot."""

    path: Path
    about: About

    @property
    def frames(self) -> bytes:
        """The frames, as they were put here.

        Raises:
            NotPossible: they are gone, or are no longer those.
        """
        place = self.path.with_suffix(".bin")
        try:
            frames = place.read_bytes()
        except FileNotFoundError:
            frames = b""
        if hashlib.sha256(frames).hexdigest() != self.about.sha256:
            raise NotPossible(
                f"{place} no longer holds the frames that were read.",
                mend="Look for the file that was read to, and read the tape again if it is gone.",
            )
        return frames


class Outbox:
    """A folder of readings that wait."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def put(self, frames: bytes, name: str, at: datetime, **said: Any) -> Waiting:
        """Keep a reading of a file called `name`, made `at`, until it is sent.

        The same reading put here again is the one that is here already, sent or not.
        """
        self.folder.mkdir(parents=True, exist_ok=True)
        sha256 = hashlib.sha256(frames).hexdigest()
        stem = _plain(Path(name).stem)
        path = self._place(f"{stem}-{at.astimezone(UTC):%Y%m%dT%H%M%S}Z", sha256)
        about = About(file_name=f"{path.name}.bin", sha256=sha256, frames=len(frames), **said)
        if not path.with_suffix(_SENT).exists():
            _put(path.with_suffix(".bin"), frames)
            _put(path.with_suffix(".json"), json.dumps(asdict(about), indent=2).encode())
        return Waiting(path, about)

    def _place(self, name: str, sha256: str) -> Path:
        """Where a reading called `name` goes: where it is, or where nothing is."""
        for number in count(1):
            path = self.folder / (name if number == 1 else f"{name}-{number}")
            if _digest_at(path) in ("", sha256):
                return path
        raise AssertionError("names never end")

    def waiting(self) -> list[Waiting]:
        """What has not been sent, the oldest name first."""
        found = sorted(self.folder.glob("*.json"))
        return [_read(path) for path in found if not path.name.endswith(_SENT)]

    def left_over(self) -> list[Path]:
        """Frames beside which nothing is said: a crash came between, so they are not sent."""
        return [
            path
            for path in sorted(self.folder.glob("*.bin"))
            if not path.with_suffix(".json").exists() and not path.with_suffix(_SENT).exists()
        ]

    def mark_sent(self, waiting: Waiting, receipt: Mapping[str, Any]) -> None:
        """Record that a reading is in the archive; its frames are there now, and go here."""
        words = asdict(waiting.about) | {"receipt": dict(receipt)}
        _put(waiting.path.with_suffix(_SENT), json.dumps(words, indent=2).encode())
        waiting.path.with_suffix(".json").unlink()
        waiting.path.with_suffix(".bin").unlink(missing_ok=True)
        sync_folder(waiting.path)

    @contextmanager
    def alone(self) -> Iterator[None]:
        """Nobody else sends from this folder meanwhile.

        Raises:
            NotPossible: somebody does.
        """
        self.folder.mkdir(parents=True, exist_ok=True)
        with (self.folder / ".sending").open("w") as lock:
            try:
                fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except OSError:
                raise NotPossible(
                    f"Something else is sending from {self.folder}.",
                    mend="Wait until it has ended.",
                ) from None
            self._tidy()
            yield

    def _tidy(self) -> None:
        """Take away the frames of readings that are sent, where a crash left them."""
        for path in self.folder.glob("*.bin"):
            if path.with_suffix(_SENT).exists() and not path.with_suffix(".json").exists():
                path.unlink()


def _digest_at(path: Path) -> str:
    """The SHA-256 of the reading called `path`; empty where there is none."""
    record, frames = path.with_suffix(_SENT), path.with_suffix(".bin")
    if record.exists():
        return str(json.loads(record.read_bytes()).get("sha256"))
    return hashlib.sha256(frames.read_bytes()).hexdigest() if frames.exists() else ""


def _read(path: Path) -> Waiting:
    try:
        words = json.loads(path.read_bytes())
        about = About(**words | {"line_faults": tuple(words.get("line_faults", ()))})
    except (ValueError, TypeError) as error:
        raise NotPossible(
            f"{path} cannot be read: {error}.", mend="Mend it, or move it out of the folder."
        ) from None
    return Waiting(path.with_suffix(""), about)


def _put(path: Path, data: bytes) -> None:
    write_whole(path, data, path.with_name(f".{path.name}.begun"))


def _plain(name: str) -> str:
    """A name that every file system takes, and that has no dot in it."""
    return re.sub(r"[^A-Za-z0-9_]+", "-", name).strip("-")[:_LONGEST_STEM] or "reel"
