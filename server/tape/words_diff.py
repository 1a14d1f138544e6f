"""What changed within one line: word by word, the blanks of BASIC left out of account."""

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from enum import StrEnum
from itertools import groupby

from server.tape.alignment import common, numbered
from server.tape.basic import DIALECTS

_KEYWORDS = "|".join(
    re.escape(word)
    for word in sorted(
        {each.rstrip("(") for table in DIALECTS.values() for each in table.tokens.values()},
        key=lambda word: (-len(word), word),
    )
    if word[0].isalpha()
)
"""What a run of letters is cut at, as in FORI=1TON; it decides only how much is marked."""

_WORDS = re.compile(r"\d+(?:\.\d+)?|[A-Za-z]+\$?|\s+|.", re.DOTALL)
_BASIC_WORDS = re.compile(
    rf"{_KEYWORDS}|\d+(?:\.\d+)?|(?:(?!{_KEYWORDS})[A-Z])+\$?|\s+|.", re.IGNORECASE | re.DOTALL
)


class PieceKind(StrEnum):
    """Whether a piece of a line is in the other line too."""

    EQUAL = "equal"
    REMOVED = "removed"
    ADDED = "added"


@dataclass(frozen=True, slots=True)
class Piece:
    """A run of words of one line."""

    kind: PieceKind
    text: str


Pieces = tuple[Piece, ...]


def pieces(left: str, right: str, *, language: str | None) -> tuple[Pieces, Pieces]:
    """The pieces of the line `left` and of the line `right`, which differ.

    Where only the blanks differ that a BASIC line may have anywhere, the blanks are told.
    """
    if language == "basic":
        told = _told(_basic_words(left), _basic_words(right))
        if any(piece.kind is not PieceKind.EQUAL for side in told for piece in side):
            return told
    return _told(_plain_words(left), _plain_words(right))


Word = tuple[str, str]
"""A word as it stands, and as it is compared; "" for one that does not count."""


def _plain_words(line: str) -> list[Word]:
    return [(word, word) for word in _WORDS.findall(line)]


def _basic_words(line: str) -> list[Word]:
    return list(_compared(_BASIC_WORDS.findall(line)))


def _compared(words: Iterable[str]) -> Iterator[Word]:
    quoted = False
    for word in words:
        if word == '"':
            quoted = not quoted
        if quoted:
            yield word, word
        elif word.isspace():
            yield word, ""
        else:
            yield word, "PRINT" if word == "?" else word.upper()


def _told(left: list[Word], right: list[Word]) -> tuple[Pieces, Pieces]:
    counted = [[at for at, word in enumerate(side) if word[1]] for side in (left, right)]
    compared = (
        [side[at][1] for at in places] for side, places in zip((left, right), counted, strict=True)
    )
    matched = common(*numbered(*compared))
    return (
        _joined(left, {counted[0][at] for at, _ in matched}, PieceKind.REMOVED),
        _joined(right, {counted[1][at] for _, at in matched}, PieceKind.ADDED),
    )


def _joined(words: list[Word], equal: set[int], otherwise: PieceKind) -> Pieces:
    kinds = [PieceKind.EQUAL if at in equal else otherwise for at in range(len(words))]
    for at, (_, compared) in enumerate(words):
        # A blank that does not count goes with its neighbours, so as not to cut a piece in two.
        if not compared:
            beside = {*kinds[max(at - 1, 0) : at], *kinds[at + 1 : at + 2]}
            kinds[at] = otherwise if beside == {otherwise} else PieceKind.EQUAL
    return tuple(
        Piece(kind, "".join(word for (word, _), _ in run))
        for kind, run in groupby(zip(words, kinds, strict=True), key=lambda each: each[1])
    )
