"""Whether a code has all characters of a text, and which case of letters it has."""

from bisect import bisect_right
from dataclasses import replace
from functools import cache
from typing import Final

from server.tape.codes import CODES
from server.tape.codes.base import Parity
from server.tape.errors import CannotBuild, CannotPrepare
from server.tape.findings import place
from server.tape.image import Orientation
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
        f"{_shown(character)} in {', '.join(each for each, _ in found[:_MOST_PLACES])}"
        + (f" and {len(found) - _MOST_PLACES} more places" if len(found) > _MOST_PLACES else "")
        for character, found in places.items()
    )
    first = min((frame for found in places.values() for _, frame in found), default=None)
    raise CannotPrepare(
        f"{CODES[plan.code].title} has {what} {' '.join(map(_shown, sorted(lacking)))}: {named}",
        frame=first,
        mend="choose another code; what a tape says is not changed to make it fit",
        choice="code",
    )


def _shown(character: str) -> str:
    return character if character.isprintable() and character != " " else f"{ord(character):02X}"


def _places(plan: Plan, character: str) -> list[tuple[str, int]]:
    """Where `character` stands: its line and place in words, and its frame."""
    lines = plan.source.decoding.listing.lines
    frames = _frames_of(plan, character)
    if not frames:
        return [
            (f"line {number} ({place(line.frame)})", line.frame)
            for number, line in enumerate(lines, 1)
            if character in line.text
        ]
    starts = sorted((line.frame, number) for number, line in enumerate(lines, 1))
    within = (bisect_right(starts, (frame, len(lines) + 1)) - 1 for frame in frames)
    return [
        (f"line {starts[max(at, 0)][1]} ({place(frame)})", frame)
        for at, frame in zip(within, frames, strict=True)
    ]


def _frames_of(plan: Plan, character: str) -> list[int]:
    """The frames of the image, as it was read, that hold `character`; none where it is crunched."""
    source = plan.source
    if source.decoding.code is None:
        return []
    view = View(source.image, source.orientation)
    span = source.image.span_as_read(source.decoding.data, source.orientation)
    characters = view.characters(source.decoding.code)
    found = [
        frame
        for frame, held in zip(
            characters.frames.tolist(), characters.text.decode("latin-1"), strict=True
        )
        if span.start <= frame < span.stop and character in (held, held.upper())
    ]
    backwards = Orientation(source.orientation).runs_backwards
    return sorted(len(source.image) - 1 - frame if backwards else frame for frame in found)
