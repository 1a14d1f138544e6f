"""What changed within one line: word by word, the blanks of BASIC left out of account."""

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from enum import StrEnum
from itertools import groupby
from typing import NamedTuple

from server.tape.alignment import Pair, common, numbered
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
    both = _matched(left, right, language)
    lefts, rights = ({pair[side] for pair in both.pairs} for side in (0, 1))
    return (
        _joined(both.left, lefts, PieceKind.REMOVED),
        _joined(both.right, rights, PieceKind.ADDED),
    )


def merged(left: str, right: str, *, language: str | None) -> Pieces:
    """Both lines as one: in each place what the left one loses, then what the right one has more.

    What is equal stands as in `right`, so that all but the removed pieces are that line.
    """
    both = _matched(left, right, language)
    told: list[tuple[PieceKind, str]] = []
    left_at = right_at = 0
    for left_end, right_end in [*both.pairs, (len(both.left), len(both.right))]:
        removed, added = both.left[left_at:left_end], both.right[right_at:right_end]
        before, more, behind = _apart(added)
        told += [
            (PieceKind.EQUAL, before),
            (PieceKind.REMOVED, _apart(removed)[1]),
            (PieceKind.ADDED, more),
            (PieceKind.EQUAL, behind + _text(both.right[right_end : right_end + 1])),
        ]
        left_at, right_at = left_end + 1, right_end + 1
    runs = groupby(((kind, text) for kind, text in told if text), key=lambda each: each[0])
    return tuple(Piece(kind, "".join(text for _, text in run)) for kind, run in runs)


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


class _Matched(NamedTuple):
    """The words of two lines, and which of them are the same; places rise on both sides."""

    left: list[Word]
    right: list[Word]
    pairs: list[Pair]

    @property
    def differ(self) -> bool:
        """Whether a word that counts has no match."""
        return any(sum(map(bool, _keys(side))) > len(self.pairs) for side in self[:2])


def _matched(left: str, right: str, language: str | None) -> _Matched:
    if language == "basic":
        found = _paired(_basic_words(left), _basic_words(right))
        if found.differ:
            return found
    return _paired(_plain_words(left), _plain_words(right))


def _paired(left: list[Word], right: list[Word]) -> _Matched:
    counted = [[at for at, key in enumerate(_keys(side)) if key] for side in (left, right)]
    compared = (
        [side[at][1] for at in places] for side, places in zip((left, right), counted, strict=True)
    )
    pairs = common(*numbered(*compared))
    return _Matched(left, right, [(counted[0][i], counted[1][j]) for i, j in pairs])


def _keys(words: Iterable[Word]) -> list[str]:
    return [compared for _, compared in words]


def _apart(words: list[Word]) -> tuple[str, str, str]:
    """The blanks that do not count before the words that do, those words, and the blanks after."""
    counted = [at for at, key in enumerate(_keys(words)) if key]
    first, stop = (counted[0], counted[-1] + 1) if counted else (len(words), len(words))
    return _text(words[:first]), _text(words[first:stop]), _text(words[stop:])


def _text(words: Iterable[Word]) -> str:
    return "".join(word for word, _ in words)


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
