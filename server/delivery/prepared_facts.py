"""What a prepared tape comes to, as named fields: the one shape of the API and the command."""

from typing import Self

from pydantic import Field

from server.inspection import Fields
from server.tape.estimate import folds, length_mm, roll_diameter_mm, seconds
from server.tape.preparing import Prepared, Reel


class StretchFacts(Fields):
    """A stretch of frames."""

    start: int = Field(description="First frame, counted from 0.")
    stop: int = Field(description="The frame after the last.")


class ReelFacts(Fields):
    """One reel, as it is to be punched."""

    number: int = Field(description="Which reel, from 1, in the order of loading.")
    sha256: str = Field(description="SHA-256 of its frames.")
    frames: int = Field(description="How many frames it has.")
    levels: int = Field(description="Code holes across.")
    length_mm: float = Field(description="Its length at a pitch of 2.54 mm.")
    roll_mm: float = Field(description="Across, as a roll on a core of 50.8 mm, in millimetres.")
    folds: float = Field(description="As a fan-folded pack: folds of 85 frames.")
    seconds: float = Field(description="Time at the rate asked for, in seconds.")
    leader: StretchFacts = Field(description="Frames of the leader, with its lettering.")
    data: StretchFacts = Field(description="Frames of the content.")
    trailer: StretchFacts = Field(description="Frames of the trailer.")
    lettering: str = Field(description="What the leader says in letters; may be empty.")
    letters: StretchFacts | None = Field(description="Frames of the letters, or null.")

    @classmethod
    def of(cls, reel: Reel, rate: float) -> Self:
        """The facts of `reel`, its time at `rate` frames a second."""
        frames = len(reel.frames)
        return cls(
            number=reel.number,
            sha256=reel.image.sha256,
            frames=frames,
            levels=reel.levels,
            length_mm=length_mm(frames),
            roll_mm=round(roll_diameter_mm(length_mm(frames)), 1),
            folds=round(folds(frames), 1),
            seconds=round(seconds(frames, rate), 1),
            leader=StretchFacts.model_validate(reel.leader),
            data=StretchFacts.model_validate(reel.data),
            trailer=StretchFacts.model_validate(reel.trailer),
            lettering=reel.lettering,
            letters=reel.letters and StretchFacts.model_validate(reel.letters),
        )


class PreparedFacts(Fields):
    """All reels of a prepared tape, and in what they differ from the image."""

    format: str = Field(description="Format of the reels.")
    code: str | None = Field(description="Their character code, or null where they carry bytes.")
    parity: str | None = Field(description="The rule of channel 8, or null.")
    rate: float = Field(description="Frames a second that the times are for.")
    reels: list[ReelFacts] = Field(description="The reels, in the order of loading.")
    changes: list[str] = Field(description="In what they differ from the image, in sentences.")
    cautions: list[str] = Field(description="What whoever punches or loads them must heed.")

    @classmethod
    def of(cls, prepared: Prepared, rate: float) -> Self:
        """The facts of `prepared`, times at `rate` frames a second."""
        return cls(
            format=prepared.format,
            code=prepared.code,
            parity=prepared.parity,
            rate=rate,
            reels=[ReelFacts.of(reel, rate) for reel in prepared.reels],
            changes=list(prepared.changes),
            cautions=list(prepared.cautions),
        )
