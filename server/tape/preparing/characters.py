"""Whether a code has all characters of a text, and which case of letters it has."""

from bisect import bisect_right
from dataclasses import replace
from functools import cache
from typing import Final

import numpy as np

from server.tape.codes import CODES
from server.tape.codes.base import Parity
from server.tape.errors import CannotBuild, CannotPrepare
from server.tape.findings import place
from server.tape.material import Material
from server.tape.preparing.plan import Plan
from server.tape.view import View

_MOST_PLACES: Final = 3
"""Places that are named of one character."""

_LETTERS: Final = "abcdefghijklmnopqrstuvwxyz"


@cache
def repertoire(code: str) -> frozenset[str]:
    """The characters of ISO 646 that a code of that name can write."""
    return frozenset(chr(each) for each in range(128) if _frames(code, chr(each)) is not None)


@cache
def has_one_case(code: str) -> bool:
    """Whether small and capital letters are the same to a code, or it has one of them only."""
    return all(
        _frames(code, letter) in (None, _frames(code, letter.upper()))
        or _frames(code, letter.upper()) is None
        for letter in _LETTERS
    )


def _frames(code: str, character: str) -> bytes | None:
    try:
        return CODES[code].write(character.encode("ascii"), Parity.NONE)
    except CannotBuild:
        return None


def in_code(plan: Plan, material: Material) -> Material:
    """`material` in characters that the code of `plan` has; letters change case where none is lost.

    Raises:
        CannotPrepare: the code lacks some, or would make one case of letters of two.
    """
    if plan.code is None or not material.typed:
        return material
    text = "".join(material.typed)
    if has_one_case(plan.code):
        if any(map(str.islower, text)) and any(map(str.isupper, text)):
            _refuse(plan, frozenset(filter(str.islower, text)), "one case of letters, and no")
        if not set(text) <= repertoire(plan.code):
            material = _in_capitals(plan, material)
    lacking = frozenset("".join(material.typed)) - repertoire(plan.code)
    if lacking:
        _refuse(plan, lacking, "no")
    return material


def _in_capitals(plan: Plan, material: Material) -> Material:
    """The same in capitals where the held code has one case of letters, so that nothing is lost."""
    held = plan.source.decoding.code
    if held is None or not has_one_case(held):
        return material
    return replace(
        material,
        lines=tuple(map(str.upper, material.lines)),
        numbered=tuple((number, text.upper()) for number, text in material.numbered),
    )


def _refuse(plan: Plan, lacking: frozenset[str], what: str) -> None:
    assert plan.code is not None
    places = {character: _places(plan, character) for character in sorted(lacking)}
    named = "; ".join(
        f"{_shown(character)} in {_named(plan, frames)}" for character, frames in places.items()
    )
    raise CannotPrepare(
        f"{CODES[plan.code].title} has {what} {' '.join(map(_shown, sorted(lacking)))}: {named}",
        frame=min(frames[0] for frames in places.values() if frames),
        mend="choose another code; what a tape says is not changed to make it fit",
        choice="code",
    )


def _shown(character: str) -> str:
    return character if character.isprintable() and character != " " else f"{ord(character):02X}"


def _named(plan: Plan, frames: list[int]) -> str:
    """The first of `frames`, each with the number of its line, and how many more there are."""
    starts = [(line.frame, at) for at, line in enumerate(plan.source.decoding.listing, 1)]
    starts.sort()
    within = [bisect_right(starts, (frame, len(starts))) - 1 for frame in frames[:_MOST_PLACES]]
    named = [
        f"line {starts[max(at, 0)][1]} ({place(frame)})"
        for at, frame in zip(within, frames, strict=False)
    ]
    more = len(frames) - len(named)
    return ", ".join(named) + (f" and {more} more places" if more else "")


def _places(plan: Plan, character: str) -> list[int]:
    """The frames of the image, as it was read, that hold `character`, rising.

    Of a crunched program, the first frames of the lines that have it.
    """
    source = plan.source
    if source.decoding.code is None:
        return sorted(line.frame for line in source.decoding.listing if character in line.text)
    characters = View(source.image, source.orientation).characters(source.decoding.code)
    text = np.frombuffer(characters.text, np.uint8)
    # Letters of a code that has one case may have been written in the other.
    wanted = [ord(character), ord(character.lower())]
    frames = characters.frames[np.isin(text, wanted)]
    span = source.image.span_as_read(source.decoding.data, source.orientation)
    frames = frames[(frames >= span.start) & (frames < span.stop)]
    turned = len(source.image) - 1 - frames if source.orientation.runs_backwards else frames
    return sorted(turned.tolist())
