"""Where frames are written down as they arrive, so that nothing that was read is lost again.

A reading that is to become `reel.bin` grows in `reel.bin.part`. When it is whole the part takes
the name, unless something has that name. A pass that goes on where another stopped has a part of
its own, `reel.bin.part-2`, until it is known how the two join.
"""

import errno
import os
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Final, Self

from server.station.errors import NotPossible

SYNC_SECONDS: Final = 1.0
"""A second of the fastest reader is 1.2 m of tape, which is fed again in no time."""

_FURTHER: Final = re.compile("-[0-9]+")
"""What follows the first part's name in those of further passes."""

_NO_LINKS: Final = (errno.EPERM, errno.ENOTSUP, errno.EOPNOTSUPP, errno.EMLINK, errno.ENOSYS)


class PartFile:
    """A new file that frames are appended to; on the disk at least every `SYNC_SECONDS`."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.frames = 0
        self._synced_at = 0.0
        self._file = path.open("xb", buffering=0)
        sync_folder(path)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def write(self, frames: bytes, now: float) -> None:
        """Append `frames`."""
        view = memoryview(frames)
        while view:
            view = view[self._file.write(view) :]
        self.frames += len(frames)
        if now - self._synced_at >= SYNC_SECONDS:
            os.fsync(self._file.fileno())
            self._synced_at = now

    def close(self) -> None:
        """Put all on the disk; a part that holds nothing is taken away."""
        if self._file.closed:
            return
        os.fsync(self._file.fileno())
        self._file.close()
        if not self.frames:
            self.path.unlink()


class Parts:
    """The parts that become the file `target`."""

    def __init__(self, target: Path) -> None:
        self.target = target
        self.first = target.with_name(f"{target.name}.part")

    def found(self) -> list[Path]:
        """The parts that hold anything, in the order in which they were read."""
        return [path for _, path in sorted(self._there()) if path.stat().st_size]

    def _there(self) -> Iterator[tuple[int, Path]]:
        """Every part that is there, with its number; the first is number 1."""
        for path in self.target.parent.iterdir():
            named = path.name.removeprefix(self.first.name)
            if path == self.first:
                yield 1, path
            elif path.name.startswith(self.first.name) and _FURTHER.fullmatch(named):
                yield int(named[1:]), path

    def require_free(self) -> None:
        """Refuse at once what could not be kept under its name at the end.

        Raises:
            NotPossible: there is a file of that name, or no folder for it.
        """
        if self.target.exists():
            raise NotPossible(
                f"{self.target} is there already, and is never written over.",
                mend="Give another name.",
            )
        if not self.target.parent.is_dir():
            raise NotPossible(
                f"There is no folder {self.target.parent}.", mend="Make it, or give another name."
            )

    def begin(self) -> PartFile:
        """A new part, after all that are there; one left without a frame in it makes room."""
        for _, path in list(self._there()):
            if not path.stat().st_size:
                path.unlink()
        last = max((number for number, _ in self._there()), default=0)
        if not last:
            return PartFile(self.first)
        return PartFile(self.first.with_name(f"{self.first.name}-{last + 1}"))

    def become_whole(self) -> None:
        """Give the first part, which holds everything, its name; it is never written over.

        Raises:
            NotPossible: something has got that name meanwhile; the part stays as it is.
        """
        try:
            rename_new(self.first, self.target)
        except FileExistsError:
            raise NotPossible(
                f"{self.target} has come into being meanwhile, and is never written over.",
                mend=f"What was read is in {self.first}.",
            ) from None

    def replace_first(self, frames: bytes) -> None:
        """Let the first part hold `frames`, or what it held before, at any moment of a crash."""
        write_whole(self.first, frames, self.target.with_name(f"{self.target.name}.joined"))


def write_whole(path: Path, data: bytes, begun: Path) -> None:
    """Write a file so that it is there whole or not at all; until it is, it is called `begun`."""
    with begun.open("wb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())
    begun.replace(path)
    sync_folder(path)


def rename_new(old: Path, new: Path) -> None:
    """Rename a file to a name that nothing has.

    Raises:
        FileExistsError: something has it.
    """
    try:
        os.link(old, new)
    except OSError as error:
        if error.errno not in _NO_LINKS:
            raise
        # A file system without links, such as a memory stick's: the name is taken first.
        new.open("xb").close()
        old.replace(new)
    else:
        old.unlink()
    sync_folder(new)


def sync_folder(path: Path) -> None:
    """Put the names in the folder of `path` on the disk."""
    descriptor = os.open(path.parent, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
