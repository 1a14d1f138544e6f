"""Leader and trailer: the pattern that loaders pass over, and letters to be read by eye."""

from typing import Final
from unicodedata import combining, normalize

from server.tape.codes import CODES
from server.tape.errors import CannotPrepare
from server.tape.image import blank_or_rubbed_out
from server.tape.lettering import APART, letter_frames
from server.tape.lettering.alphabets import alphabet
from server.tape.material import Pattern
from server.tape.preparing.plan import Plan

_LEAD_IN: Final = 20
"""Frames of leader in front of letters, for a machine to grip (common practice, no source)."""

_CHANNEL_8: Final = 0x80

ALPHABETS: Final = ("5x7", "5x5")
"""Those that letters are punched in, the one that is easiest to read first."""


def pattern_frame(plan: Plan, pattern: Pattern, what: str) -> bytes:
    """The frame that `pattern` repeats in `what`, leader or trailer.

    That blank tape and rub-outs are passed over by loaders of characters, and which patterns the
    others need, is common practice without a source, but for the leader of the 12-bit machine
    (its maker's paper tape system handbook, after a secondary description).

    Raises:
        CannotPrepare: a loader of the format may take it for data.
    """
    wanted = plan.pattern(pattern)
    if wanted not in plan.format.idle:
        raise CannotPrepare(
            f"a loader of {plan.format.title} may take a {what} of {wanted} frames for data",
            mend=f"choose {' or '.join(plan.format.idle)}",
            choice=f"{what}_pattern",
        )
    if wanted is Pattern.RUB_OUT:
        every = blank_or_rubbed_out(plan.levels)[1]
        return bytes([every & CODES[plan.code].rub_out if plan.code else every])
    return bytes([_CHANNEL_8 if wanted is Pattern.CHANNEL_8 else 0])


def lettered(text: str, levels: int) -> bytes:
    """The frames of `text` in the first alphabet that fits on the tape, blank ones around them.

    Raises:
        CannotPrepare: no alphabet that fits has all characters.
    """
    if not text.strip():
        return b""
    chosen = _fitting(levels)
    known = drawn(chosen)
    lacking = [
        f"{character} (character {at})"
        for at, character in enumerate(text, 1)
        if character.upper() not in known and not character.isspace()
    ]
    if lacking:
        raise CannotPrepare(
            f"the lettering cannot be punched: there is no letter for {', '.join(lacking)}",
            mend=f"write it with {''.join(sorted(known))}",
            choice="lettering",
        )
    return bytes(APART) + letter_frames(text, levels=levels, alphabet=chosen) + bytes(APART)


def _fitting(levels: int) -> str:
    """The first alphabet whose letters fit on a tape of so many levels."""
    return next(each for each in ALPHABETS if alphabet(each).height <= levels)


def drawn(name: str) -> frozenset[str]:
    """The characters that the alphabet of that name has."""
    return frozenset(glyph.character for glyph in alphabet(name).glyphs)


def legible(text: str, levels: int) -> str:
    """`text` as far as it can be punched: without accents, blanks for what has no letter."""
    known = drawn(_fitting(levels))
    bare = (each for each in normalize("NFKD", text) if not combining(each))
    kept = (each if each.upper() in known else " " for each in bare)
    return " ".join("".join(kept).split())


def leader_of(plan: Plan, letters: bytes) -> tuple[bytes, int]:
    """The leader with `letters` in it, and at which of its frames they begin.

    They stand behind a lead-in, so that the machine has gripped the tape, and as far from the
    content as the leader is long, so that the tape can be set in a reader behind them.
    """
    frame = pattern_frame(plan, plan.how.leader_pattern, "leader")
    lead_in = min(_LEAD_IN, plan.how.leader_frames) if letters else 0
    rest = plan.how.leader_frames - lead_in
    return frame * lead_in + letters + frame * rest, lead_in
