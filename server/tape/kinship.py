"""Kinship: how two images relate, exactly, and in words."""

from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final

from server.tape.changes import Unit, changes
from server.tape.fingerprints import fingerprints
from server.tape.listing_diff import Row, align
from server.tape.normal_form import NormalForm, normal_form

__all__ = [
    "NEAR_CUTOFF",
    "SAME_IMAGE",
    "Kind",
    "Kinship",
    "NormalForm",
    "Row",
    "Unit",
    "align",
    "compare",
    "describe",
    "fingerprints",
    "normal_form",
]

NEAR_CUTOFF: Final = 0.6
"""The least similarity of kin. Measured on generated programs that share a vocabulary: of 180,000
unrelated pairs of 6 lines 56 reach it, of 12 lines or more none (the greatest is 0.56, at 50 lines
0.44); a 6-line program with a long line added keeps 0.68, one with a wrong character in 20 keeps
0.82. Unrelated machine code reaches 0.4, and where half of both is empty memory 0.6."""


class Kind(StrEnum):
    """How two images relate, the nearest first."""

    SAME_IMAGE = "same-image"
    """Frame for frame the same."""
    SAME_CONTENT = "same-content"
    """The same but for leader, trailer, fill, parity and direction."""
    SAME_LISTING = "same-listing"
    """The same lines, or the same memory, otherwise recorded."""
    NEAR = "near"
    """Alike enough to be versions of one program, or readings of one tape."""
    UNRELATED = "unrelated"


@dataclass(frozen=True, slots=True)
class Kinship:
    """How image b relates to image a.

    `similarity` is 1 - distance / length of the longer; `distance` is the edit distance in
    characters of the normal listings, or in bytes or frames of what is no listing. `added` counts
    what is in b only, `removed` what is in a only, `changed` what is in both but not the same, in
    `unit`. Unrelated images are compared no further than the cut-off: similarity 0, and the
    distance of taking all out and putting all in.
    """

    kind: Kind
    similarity: float
    distance: int
    added: int = 0
    removed: int = 0
    changed: int = 0
    unit: Unit = Unit.LINE

    def turned(self) -> "Kinship":
        """How image a relates to image b."""
        return replace(self, added=self.removed, removed=self.added)


SAME_IMAGE: Final = Kinship(Kind.SAME_IMAGE, 1.0, 0)


def compare(a: NormalForm, b: NormalForm, *, cutoff: float = NEAR_CUTOFF) -> Kinship:
    """How `b` relates to `a`: near from a similarity of `cutoff` on. The same both ways."""
    if (a.format, a.content) == (b.format, b.content):
        return Kinship(Kind.SAME_CONTENT, 1.0, 0)
    if _same_listing(a, b):
        return Kinship(Kind.SAME_LISTING, 1.0, 0)
    # Which of several shortest ways is told may hang on the order, so the order is fixed.
    if (a.content, a.format) > (b.content, b.format):
        return compare(b, a, cutoff=cutoff).turned()
    found = changes(a, b, cutoff)
    if found is None or not found.longer:
        return _unrelated(a, b)
    return Kinship(
        kind=Kind.NEAR,
        similarity=1 - found.distance / found.longer,
        distance=found.distance,
        added=found.added,
        removed=found.removed,
        changed=found.changed,
        unit=found.unit,
    )


def _same_listing(a: NormalForm, b: NormalForm) -> bool:
    if a.textual and b.textual:
        return bool(a.lines) and a.lines == b.lines
    return bool(a.memory) and a.memory == b.memory


def _unrelated(a: NormalForm, b: NormalForm) -> Kinship:
    if a.textual and b.textual:
        longer = max(len(a.text), len(b.text))
        return Kinship(Kind.UNRELATED, 0.0, longer, len(b.lines), len(a.lines))
    left, right = len(a.content), len(b.content)
    return Kinship(Kind.UNRELATED, 0.0, max(left, right), right, left, unit=Unit.FRAME)


_SAME: Final = {
    Kind.SAME_IMAGE: "the same image",
    Kind.SAME_CONTENT: "the same content; only leader, parity, fill or direction differ",
    Kind.SAME_LISTING: "the same listing, otherwise recorded",
    Kind.UNRELATED: "unrelated",
}

_PLURAL: Final = {Unit.LINE: "lines", Unit.ADDRESS: "addresses", Unit.FRAME: "frames"}


def describe(kinship: Kinship) -> str:
    """The kinship in words, such as '98.6 %: one line added'."""
    if kinship.kind is not Kind.NEAR:
        return _SAME[kinship.kind]
    counted = ((kinship.added, "added"), (kinship.removed, "removed"), (kinship.changed, "changed"))
    told = [f"{_count(number, kinship.unit)} {what}" for number, what in counted if number]
    what = ", ".join(told) or "the same bytes at other addresses"
    # Never rounded up to a sameness that is not there.
    return f"{min(kinship.similarity * 100, 99.9):.1f} %: {what}"


def _count(number: int, unit: Unit) -> str:
    return f"one {unit}" if number == 1 else f"{number} {_PLURAL[unit]}"
