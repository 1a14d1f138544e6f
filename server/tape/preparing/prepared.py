"""What comes of preparing a tape: reels, frame by frame, and what differs from the held image."""

from dataclasses import dataclass

from server.tape.image import Image, Span


@dataclass(frozen=True, slots=True)
class Reel:
    """One length of tape to be punched, counted from 1.

    `frames` is a byte a frame, channel 1 in bit 0. `leader`, `data` and `trailer` follow one
    another and cover it; `lettering` is what stands punched as letters in the leader, in the
    frames `letters`.
    """

    number: int
    frames: bytes
    levels: int
    leader: Span
    data: Span
    trailer: Span
    lettering: str = ""
    letters: Span | None = None

    @property
    def image(self) -> Image:
        """The reel as an image."""
        return Image(self.frames, self.levels)


@dataclass(frozen=True, slots=True)
class Prepared:
    """The reels of one program, in the order in which they are loaded.

    `changes` says, sentence by sentence, in what they differ from the image that they were
    prepared from; `cautions` what whoever punches or loads them must heed. `format`, `code` and
    `parity` are those of the reels.
    """

    reels: tuple[Reel, ...]
    changes: tuple[str, ...]
    cautions: tuple[str, ...]
    format: str
    code: str | None = None
    parity: str | None = None

    @property
    def frames(self) -> int:
        """Frames on all reels together."""
        return sum(len(reel.frames) for reel in self.reels)
