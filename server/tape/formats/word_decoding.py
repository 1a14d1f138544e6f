"""The way from a program of the 12-bit machine to a decoding."""

from itertools import starmap

from server.tape.findings import CheckStatus, Finding, check_status
from server.tape.formats.base import Decoding, Loader, LoadRange
from server.tape.hexadecimal.places import bounded_by_kind
from server.tape.image import Span
from server.tape.listing import Listing
from server.tape.load_findings import memory_findings
from server.tape.loading import assemble, by_row, loaded_blocks
from server.tape.octal_dump import WORDS, word_lines
from server.tape.twelve_bit.frames import Program
from server.tape.twelve_bit.loads import Words, loads_of
from server.tape.twelve_bit.told import TERMS
from server.tape.view import View


def decode_words(
    name: str,
    program: Program,
    words: Words,
    found: list[Finding],
    *,
    frames_a_word: int,
    loader: Loader,
    closes: bool | None,
) -> Decoding:
    """What `words` of `program` load; `closes` says whether its checksum does, if it has one."""
    loads = loads_of(words, frames_a_word)
    memory = assemble(by_row(loads, WORDS, frames_a_word))
    told = bounded_by_kind([*found, *memory_findings(memory, loads, TERMS)])
    return Decoding(
        format=name,
        data=program.span,
        listing=Listing(word_lines(memory.cells)),
        check_status=check_status(told, carries_check=closes is not None),
        content=program.content,
        findings=tuple(told),
        language="machine code",
        loader=loader,
        load_ranges=tuple(starmap(LoadRange, memory.spans)),
        memory=memory.ranges,
        cell_bytes=2,
        blocks=loaded_blocks(
            loads.addresses,
            loads.ends - 1,
            (loads.starts, loads.stops),
            ~loads.damaged & (closes is not False),
        ),
    )


def no_words(name: str, view: View, loader: Loader) -> Decoding:
    """The decoding of a view without a program of that format."""
    end = len(view.array)
    return Decoding(
        format=name,
        data=Span(end, end),
        listing=Listing(),
        check_status=CheckStatus.NO_CHECK,
        content=b"",
        language="machine code",
        loader=loader,
        cell_bytes=2,
    )
