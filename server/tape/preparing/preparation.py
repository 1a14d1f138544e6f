"""How a tape is to be prepared for the punch: every choice, and the bounds of each."""

from dataclasses import dataclass
from typing import Final

from server.tape.codes.base import Parity
from server.tape.errors import CannotPrepare
from server.tape.image import LEVELS
from server.tape.material import Pattern

MOST_IDLE: Final = 6000
"""Frames of leader or of trailer: fifty feet, more than any machine threads (a judgement)."""

MOST_LETTERS: Final = 120
"""Characters of lettering: six feet of tape (a judgement)."""

LEAST_A_REEL, MOST_A_REEL = 500, 1_000_000
"""Frames a reel may be told to hold, leader and trailer included; 120,000 fill the largest roll
in common use (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Preparation:
    """How a tape is to be prepared; what is None stays as the image holds it.

    `leader_frames` and `trailer_frames` count the frames of the patterns alone: `lettering`, and
    the blank frames that set it apart, come on top. `levels`, `code`, `parity`, `format` and
    `dialect` are names of their registries. `record_length` is the most bytes in a record or
    block that is written anew. `load_address` is where frames without addresses are loaded, and
    where a crunched program starts in memory. `leave_entry_out` lets go of an entry address for
    which a format has no place; `accept_damage` writes damaged content anew, under checks that
    will pass. `frames_per_reel` bounds a reel with all that is on it.
    """

    leader_frames: int = 60
    trailer_frames: int = 60
    leader_pattern: Pattern = Pattern.USUAL
    trailer_pattern: Pattern = Pattern.USUAL
    lettering: str = ""
    levels: int | None = None
    code: str | None = None
    parity: Parity | None = None
    format: str | None = None
    dialect: str | None = None
    program_name: str | None = None
    record_length: int | None = None
    load_address: int | None = None
    leave_entry_out: bool = False
    accept_damage: bool = False
    frames_per_reel: int | None = None

    def check(self) -> None:
        """Refuse what is out of bounds, whatever the tape is.

        Raises:
            CannotPrepare: a number or the lettering is out of its bounds.
        """
        for choice, what, low, high in (
            ("leader_frames", "the leader", 0, MOST_IDLE),
            ("trailer_frames", "the trailer", 0, MOST_IDLE),
            ("levels", "the levels", LEVELS[0], LEVELS[-1]),
            ("record_length", "the record length", 1, 0xFFFF),
            ("load_address", "the load address", 0, 0xFFFFFFFF),
            ("frames_per_reel", "a reel", LEAST_A_REEL, MOST_A_REEL),
        ):
            value = getattr(self, choice)
            if value is not None and not low <= value <= high:
                raise CannotPrepare(
                    f"{value} is out of bounds for {what}",
                    mend=f"give a number from {low} to {high}",
                    choice=choice,
                )
        if len(self.lettering) > MOST_LETTERS:
            raise CannotPrepare(
                f"the lettering has {len(self.lettering)} characters",
                mend=f"shorten it to {MOST_LETTERS}",
                choice="lettering",
            )
