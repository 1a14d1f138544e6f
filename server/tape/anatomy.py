"""Into what parts a tape falls: leader, lettering, first stage, programs, trailer."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Final

from server.tape.formats import FORMATS
from server.tape.formats.base import Decoding, Loader
from server.tape.formats.unrecognised import Unrecognised
from server.tape.image import Span
from server.tape.lettering import Lettering
from server.tape.parts import Part, PartKind, shifted
from server.tape.ranking import rank
from server.tape.view import View

MOST_PROGRAMS: Final = 16
"""What follows so many programs is one part more; a tape of fragments stays bounded."""

_NEEDS_FIRST_STAGE: Final = frozenset({Loader.CHECKSUM_LOADER, Loader.KEYED_BOOTSTRAP})


def anatomy(view: View, decoding: Decoding, letterings: Iterable[Lettering]) -> list[Part]:
    """Every frame of `view` in one part, in the order of the view.

    `decoding` is what the surest format made of the whole view; what it leaves on either side
    is looked at again. `letterings` are placed in the image as it was read.
    """
    programs = [
        *_before(view, decoding),
        Part(PartKind.PROGRAM, decoding.data, decoding),
        *_behind(view, decoding.data.stop),
    ]
    letters = [
        Part(
            PartKind.LETTERING, view.image.span_as_read(each.span, view.orientation), text=each.text
        )
        for each in letterings
    ]
    return list(_with_idle_runs(sorted([*programs, *letters], key=_start), len(view.array)))


def _before(view: View, decoding: Decoding) -> list[Part]:
    """What stands before the program: another one, or the first stage that loads it."""
    found = _program_in(view, Span(0, decoding.data.start))
    if found is None:
        return []
    first_stage = found.format == Unrecognised.name and decoding.loader in _NEEDS_FIRST_STAGE
    return [Part(PartKind.FIRST_STAGE if first_stage else PartKind.PROGRAM, found.data, found)]


def _behind(view: View, start: int) -> list[Part]:
    """The programs from frame `start` on."""
    parts: list[Part] = []
    while len(parts) < MOST_PROGRAMS:
        found = _program_in(view, Span(start, len(view.array)))
        if found is None:
            break
        parts.append(Part(PartKind.PROGRAM, found.data, found))
        start = found.data.stop
    return parts


def _program_in(view: View, span: Span) -> Decoding | None:
    """What the format that is surest of the frames in `span` makes of them; None if idle."""
    if not span.frames:
        return None
    there = view.part(span)
    if not there.data.frames:
        return None
    surest = rank([there])[0]
    decoding = FORMATS[surest.format].parse(there)
    # A format that finds nothing in what it claimed must not be asked again.
    if not decoding.data.frames:
        decoding = Unrecognised().parse(there)
    return shifted(decoding, span.start)


def _with_idle_runs(parts: Sequence[Part], frames: int) -> Iterator[Part]:
    """`parts` with the leader, trailer and gaps between them as parts of their own."""
    bounds = [
        Part(PartKind.LEADER, Span(0, 0)),
        *parts,
        Part(PartKind.TRAILER, Span(frames, frames)),
    ]
    last_content = max((part.span.stop for part in parts), default=0)
    for before, after in pairwise(bounds):
        gap = Span(before.span.stop, after.span.start)
        if gap.frames > 0:
            kind = PartKind.TRAILER if gap.start >= last_content else PartKind.LEADER
            yield Part(kind, gap)
        if after is not bounds[-1]:
            yield after


def _start(part: Part) -> int:
    return part.span.start


def with_first_stage(decoding: Decoding, parts: Iterable[Part]) -> Decoding:
    """`decoding` under the name of what must be loaded: a first stage in front shows in it."""
    if any(part.kind is PartKind.FIRST_STAGE for part in parts):
        return replace(decoding, format=f"bootstrap+{decoding.format}")
    return decoding
