"""Content to reels: leader with lettering before it, trailer behind it."""

from collections.abc import Sequence

from server.tape.errors import BadImage, CannotPrepare
from server.tape.image import Image, Span
from server.tape.lettering import APART
from server.tape.preparing.leader import leader_of, lettered, pattern_frame
from server.tape.preparing.plan import Plan
from server.tape.preparing.prepared import Reel


def label(text: str, number: int, reels: int) -> str:
    """What is punched in the leader of reel `number` of so many."""
    part = f"{number} OF {reels}" if reels > 1 else ""
    return " ".join(filter(None, (" ".join(text.upper().split()), part)))


def overhead(plan: Plan, reels: int) -> int:
    """The most frames that leader, lettering and trailer take on one of so many reels."""
    widest = int("8" * len(str(reels))) if reels > 1 else 1
    letters = lettered(label(plan.how.lettering, widest, widest), plan.levels)
    return plan.how.leader_frames + len(letters) + plan.how.trailer_frames


def wound(plan: Plan, contents: Sequence[bytes]) -> tuple[Reel, ...]:
    """A reel for each of `contents`.

    Raises:
        CannotPrepare: the tape has fewer levels than the frames need, or the lettering cannot be
            punched.
    """
    return tuple(_reel(plan, number, contents) for number in range(1, len(contents) + 1))


def _reel(plan: Plan, number: int, contents: Sequence[bytes]) -> Reel:
    data = contents[number - 1]
    text = label(plan.how.lettering, number, len(contents))
    letters = lettered(text, plan.levels)
    leader, at = leader_of(plan, letters)
    trailer = pattern_frame(plan, plan.how.trailer_pattern, "trailer") * plan.how.trailer_frames
    frames = leader + data + trailer
    try:
        Image(frames, plan.levels)
    except BadImage as error:
        raise CannotPrepare(error.what, mend=error.mend, choice="levels") from error
    start, stop = len(leader), len(leader) + len(data)
    return Reel(
        number=number,
        frames=frames,
        levels=plan.levels,
        leader=Span(0, start),
        data=Span(start, stop),
        trailer=Span(stop, len(frames)),
        lettering=text,
        letters=Span(at + APART, at + len(letters) - APART) if letters else None,
    )
