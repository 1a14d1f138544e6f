"""What became of a text: line by line, and word by word within a line."""

from collections.abc import Sequence
from dataclasses import dataclass

from server.catalog.side_by_side import Shown, shown, worded
from server.tape.kinship import align
from server.tape.listing import Line


@dataclass(frozen=True, slots=True)
class TextChange:
    """What became of the text of one field."""

    field: str
    rows: tuple[Shown, ...]


def change_of(field: str, before: str, after: str) -> TextChange:
    """What leads from the one text to the other."""
    left, right = _lines(before), _lines(after)
    rows = shown(align(left, right, language=None), left, right, everything=True)
    return TextChange(field, tuple(worded(rows, language=None)))


def _lines(text: str) -> Sequence[Line]:
    return tuple(Line(line, 0, 0) for line in text.splitlines())
