"""The way from a view to a decoding that the formats of binary loader blocks share."""

from collections.abc import Callable
from dataclasses import dataclass
from itertools import starmap

from server.tape.blocks.layout import Layout, Tape
from server.tape.blocks.loads import by_frame, coverage, frames_in, loads_of, spans
from server.tape.blocks.told import Teller
from server.tape.blocks.walk import FindSpecial, Walked, Walker
from server.tape.dump import WIDTH, Cells
from server.tape.findings import CheckStatus, Finding, check_status
from server.tape.formats.base import Decoding, Loader, LoadRange
from server.tape.hexadecimal.places import bounded_by_kind
from server.tape.image import Span
from server.tape.listing import Line, Listing
from server.tape.load_findings import Terms, memory_findings
from server.tape.loading import assemble, by_row
from server.tape.view import View


@dataclass(frozen=True, slots=True)
class Manner:
    """How a format's blocks are read: layout, what stands beside blocks, how they are shown.

    `end_name` is what people call that which ends a program.
    """

    name: str
    layout: Layout
    special: FindSpecial
    terms: Terms
    lines: Callable[[Cells], tuple[Line, ...]]
    end_name: str
    dialect: str | None = None


def decode_blocks(view: View, manner: Manner) -> Decoding:
    """All that is read of `view` in that manner."""
    tape = Tape(view.array, manner.layout, view.data.stop)
    walker = Walker(tape, manner.special)
    start = walker.start(view.data.start)
    walked = Walked() if start is None else walker.walk(start)
    starts, stops = spans(walked, tape)
    if not starts.size:
        return _nothing(view, manner)
    loads = loads_of(walked, tape)
    memory = assemble(by_row(by_frame(loads), WIDTH, 1))
    told = bounded_by_kind(
        [
            *_told(walked, tape, manner, Span(int(starts[0]), int(stops[-1]))),
            *memory_findings(memory, loads, manner.terms),
        ]
    )
    end = walked.end
    return Decoding(
        format=manner.name,
        data=Span(int(starts[0]), int(stops[-1])),
        listing=Listing(manner.lines(memory.cells)),
        check_status=check_status(told, carries_check=True),
        content=frames_in(tape.frames, starts, stops),
        findings=tuple(told),
        dialect=manner.dialect,
        language="machine code",
        loader=Loader.CHECKSUM_LOADER,
        load_ranges=tuple(starmap(LoadRange, memory.spans)),
        entry_address=end.address if end else None,
        memory=memory.ranges,
        blocks=coverage(loads),
    )


def _told(walked: Walked, tape: Tape, manner: Manner, data: Span) -> list[Finding]:
    """What is said of the walk, but for what it loads."""
    teller = Teller(tape.frames, manner.layout, manner.terms)
    told = [*teller.leader(data.start), *teller.damages(walked.damages)]
    told += [teller.name(each.start, each.stop, each.text) for each in walked.specials if each.text]
    if walked.end is None:
        last = max(walked.last_start(tape), *(each.start for each in walked.damages), 0, 0)
        told.append(teller.no_end((last, data.stop), manner.end_name))
        return told
    following = tape.next_punched(data.stop)
    if following < tape.stop:
        told.append(teller.after_end(following, tape.stop))
    return told


def _nothing(view: View, manner: Manner) -> Decoding:
    end = len(view.array)
    return Decoding(
        format=manner.name,
        data=Span(end, end),
        listing=Listing(),
        check_status=CheckStatus.NO_CHECK,
        content=b"",
        language="machine code",
        loader=Loader.CHECKSUM_LOADER,
    )
