"""Kinship: how two images relate, exactly, and in words."""

from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final

from server.tape.changes import Changes, Unit
from server.tape.containment import part_of
from server.tape.fingerprints import fingerprints
from server.tape.listing_diff import Row, align
from server.tape.normal_form import NormalForm, normal_form
from server.tape.seen import Seen, nearest

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
    RENUMBERED = "renumbered"
    """The same program under other line numbers (see `server.tape.renumbering`)."""
    RELOCATED = "relocated"
    """The same memory at another address, the absolute addresses inside moved with it."""
    NEAR = "near"
    """Alike enough to be versions of one program, or readings of one tape."""
    PART_OF = "part-of"
    """It stands in the other, which carries more."""
    HOLDS = "holds"
    """It carries the other, and more."""
    UNRELATED = "unrelated"


_TURNED: Final = {Kind.PART_OF: Kind.HOLDS, Kind.HOLDS: Kind.PART_OF}


@dataclass(frozen=True, slots=True)
class Kinship:
    """How image b relates to image a.

    `similarity` is 1 - distance / length of the longer; `distance` is the edit distance in
    characters of the normal listings, or in bytes or frames of what is no listing. `added` counts
    what is in b only, `removed` what is in a only, `changed` what is in both but not the same, in
    `unit`. Both are told after renumbering (`renumbered`) and after moving b back by `moved_by`
    addresses, where that leaves less to tell. An address is that of a cell: where both load words
    of 12 bits, one that changed is one, though the distance counts its bytes. Of a part,
    `similarity` is the one to where it stands in the whole; the distance leads there and takes
    out the rest. Unrelated images are compared no further than the cut-off: similarity 0, and the
    distance of taking all out and putting all in.
    """

    kind: Kind
    similarity: float
    distance: int
    added: int = 0
    removed: int = 0
    changed: int = 0
    unit: Unit = Unit.LINE
    renumbered: bool = False
    moved_by: int = 0

    def turned(self) -> "Kinship":
        """How image a relates to image b."""
        return replace(
            self,
            kind=_TURNED.get(self.kind, self.kind),
            added=self.removed,
            removed=self.added,
            moved_by=-self.moved_by,
        )


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
    found = nearest(a, b, cutoff)
    near = None if found is None or not found[0].longer else _near(*found)
    if near is not None and near.kind is not Kind.NEAR:
        return near
    return _part(a, b) or near or _unrelated(a, b)


def _same_listing(a: NormalForm, b: NormalForm) -> bool:
    if a.textual and b.textual:
        return bool(a.lines) and a.lines == b.lines
    return bool(a.memory) and a.memory == b.memory


def _near(found: Changes, seen: Seen) -> Kinship:
    kind = Kind.NEAR
    if found.distance == 0 and (seen.renumbered or seen.moved_by):
        kind = Kind.RENUMBERED if seen.renumbered else Kind.RELOCATED
    return Kinship(
        kind=kind,
        similarity=1 - found.distance / found.longer,
        distance=found.distance,
        added=found.added,
        removed=found.removed,
        changed=seen.words if kind is Kind.RELOCATED else found.changed,
        unit=found.unit if kind is not Kind.RELOCATED else Unit.ADDRESS,
        renumbered=seen.renumbered,
        moved_by=seen.moved_by,
    )


def _part(a: NormalForm, b: NormalForm) -> Kinship | None:
    """The kinship of a part and a whole; the shorter is the part."""
    if _size(a) < _size(b):
        turned = _part(b, a)
        return None if turned is None else turned.turned()
    found = part_of(b, a)
    if found is None:
        return None
    told = found.changes
    return Kinship(
        kind=Kind.PART_OF,
        similarity=1 - told.distance / max(told.longer, 1),
        distance=told.distance + found.beyond,
        added=told.added,
        removed=told.removed + found.outside,
        changed=told.changed,
        unit=told.unit,
        renumbered=found.seen.renumbered,
    )


def _size(form: NormalForm) -> int:
    return len(form.text) if form.textual else len(form.binary)


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
    Kind.RENUMBERED: "the same program under other line numbers",
    Kind.UNRELATED: "unrelated",
}

_PLURAL: Final = {Unit.LINE: "lines", Unit.ADDRESS: "addresses", Unit.FRAME: "frames"}


def describe(kinship: Kinship) -> str:
    """The kinship in words, such as '98.6 %: one line added'."""
    if kinship.kind in _SAME:
        return _SAME[kinship.kind]
    if kinship.kind is Kind.RELOCATED:
        return f"the same bytes {_moved(kinship)}{_words(kinship.changed)}"
    if kinship.kind in _TURNED:
        return _describe_part(kinship)
    counted = ((kinship.added, "added"), (kinship.removed, "removed"), (kinship.changed, "changed"))
    told = [f"{_count(number, kinship.unit)} {what}" for number, what in counted if number]
    told += ["renumbered"] if kinship.renumbered else []
    told += [_moved(kinship)] if kinship.moved_by else []
    what = ", ".join(told) or "the same bytes at other addresses"
    return f"{_percent(kinship)}: {what}"


def _describe_part(kinship: Kinship) -> str:
    part = kinship.kind is Kind.PART_OF
    share = "all" if kinship.similarity == 1 else _percent(kinship)
    more = _count(kinship.removed if part else kinship.added, kinship.unit)
    numbers = ", under other line numbers" if kinship.renumbered else ""
    stands = "of it stands in the other" if part else "of the other stands in it"
    return f"{share} {stands}{numbers}, which has {more} more"


def _moved(kinship: Kinship) -> str:
    number, place = abs(kinship.moved_by), "higher" if kinship.moved_by > 0 else "lower"
    return f"{_count(number, Unit.ADDRESS)} {place}"


def _words(number: int) -> str:
    if not number:
        return ""
    told = "one absolute address" if number == 1 else f"{number} absolute addresses"
    return f", {told} inside moved with them"


def _percent(kinship: Kinship) -> str:
    # Never rounded up to a sameness that is not there.
    return f"{min(kinship.similarity * 100, 99.9):.1f} %"


def _count(number: int, unit: Unit) -> str:
    return f"one {unit}" if number == 1 else f"{number} {_PLURAL[unit]}"
