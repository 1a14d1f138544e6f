"""Into what parts a tape falls: leader, lettering, first stage, programs, trailer."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Final

from server.tape.findings import Finding, Severity
from server.tape.formats import FORMATS, Formats
from server.tape.formats.base import Decoding, Loader
from server.tape.formats.bin12 import Bin12
from server.tape.formats.raw_binary import RawBinary
from server.tape.formats.rim12 import Rim12
from server.tape.formats.unrecognised import Unrecognised
from server.tape.image import Span
from server.tape.lettering import Lettering
from server.tape.parts import Part, PartKind, merged, shifted, worst
from server.tape.ranking import rank
from server.tape.view import View

MOST_PROGRAMS: Final = 16
"""What follows so many programs is one part more; a tape of fragments stays bounded."""

BOOTSTRAP: Final = "bootstrap+"
"""Stands before the name of a format that a first stage on the same tape must load."""

SHORTEST_FIRST_STAGE: Final = 12
"""Frames; no loader is shorter."""

MOST_STRAY: Final = 3
"""Frames with holes of their own that are leader, punched or read wrongly, and no program."""

_WITHOUT_LOADER_FORMAT: Final = frozenset({Unrecognised.name, RawBinary.name})
_NEEDS_FIRST_STAGE: Final = frozenset({Loader.CHECKSUM_LOADER, Loader.KEYED_BOOTSTRAP})


def anatomy(
    view: View,
    decoding: Decoding,
    letterings: Iterable[Lettering],
    formats: Formats = FORMATS,
) -> list[Part]:
    """Every frame of `view` in one part, in the order of the view.

    `decoding` is what the surest format made of the whole view; what it leaves on either side
    is looked at again. `letterings` are placed in the image as it was read.
    """
    programs = [
        *_before(view, decoding, formats),
        Part(PartKind.PROGRAM, decoding.data, decoding),
        *_behind(view, decoding.data.stop, formats),
    ]
    letters = [
        Part(
            PartKind.LETTERING, view.image.span_as_read(each.span, view.orientation), text=each.text
        )
        for each in letterings
    ]
    return list(_with_idle_runs(sorted([*programs, *letters], key=_start), len(view.array)))


def _before(view: View, decoding: Decoding, formats: Formats) -> list[Part]:
    """What stands before the program: another one, or the first stage that loads it."""
    found = _program_in(view, Span(0, decoding.data.start), formats)
    if found is None:
        return []
    kind = PartKind.FIRST_STAGE if _loads(found, decoding) else PartKind.PROGRAM
    return [Part(kind, found.data, found)]


def _loads(before: Decoding, decoding: Decoding) -> bool:
    """Whether what stands `before` a program can be what loads it."""
    if before.format == Rim12.name:
        return decoding.format == Bin12.name
    return (
        before.format in _WITHOUT_LOADER_FORMAT
        and before.data.frames >= SHORTEST_FIRST_STAGE
        and decoding.loader in _NEEDS_FIRST_STAGE
    )


def _behind(view: View, start: int, formats: Formats) -> list[Part]:
    """The programs from frame `start` on."""
    parts: list[Part] = []
    while len(parts) < MOST_PROGRAMS:
        found = _program_in(view, Span(start, len(view.array)), formats)
        if found is None:
            break
        parts.append(Part(PartKind.PROGRAM, found.data, found))
        start = found.data.stop
    return parts


def _program_in(view: View, span: Span, formats: Formats) -> Decoding | None:
    """What the format that is surest of the frames in `span` makes of them; None if idle."""
    if not span.frames:
        return None
    there = view.part(span)
    if not there.data.frames:
        return None
    surest = rank([there], formats)[0]
    decoding = formats[surest.format].parse(there)
    # A format that finds nothing in what it claimed must not be asked again.
    if not decoding.data.frames:
        decoding = Unrecognised().parse(there)
    if decoding.format == Unrecognised.name and _is_leader(there):
        return None
    return shifted(decoding, span.start)


def _is_leader(view: View) -> bool:
    """Whether all but a few frames are the same one: leader with stray holes."""
    return view.data.frames - int(view.histogram.max()) <= MOST_STRAY


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


def drawn_together(parts: Iterable[Part], chosen: Decoding) -> Decoding:
    """One decoding of all that `parts` carry, with the facts of the `chosen` one.

    A first stage in front of it shows in the name of the format: it must be loaded first.
    """
    carrying = [part for part in parts if part.decoding]
    decodings = [part.decoding for part in carrying if part.decoding]
    main = next((at for at, each in enumerate(decodings) if each is chosen), 0)
    whole = merged(decodings, main)
    stages = [part for part in carrying if part.kind is PartKind.FIRST_STAGE]
    if not stages:
        return whole
    # A first stage has no check of its own; that must not hide what the checks behind it say.
    checked = [part.decoding for part in carrying if part.decoding and part not in stages]
    return replace(
        whole,
        format=f"{BOOTSTRAP}{whole.format}",
        check_status=worst([each.check_status for each in checked]),
        findings=(*(_unchecked(part) for part in stages), *whole.findings),
    )


def _unchecked(stage: Part) -> Finding:
    return Finding(
        kind="first-stage",
        severity=Severity.NOTE,
        frame=stage.span.start,
        frames=stage.span.frames,
        message=f"a first stage of {stage.span.frames} frames stands here, which nothing checks",
        advice="compare it with another reading of this tape, or with a tape of the same loader",
    )
