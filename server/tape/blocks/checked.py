"""Which frames are sound blocks, and which are none but should be."""

from operator import attrgetter

from server.tape.blocks.layout import Layout, Tape
from server.tape.blocks.walk import FindSpecial, Walker
from server.tape.image import Span
from server.tape.self_checking import Checked
from server.tape.view import View


def checked_blocks(view: View, layout: Layout, special: FindSpecial) -> Checked:
    """The blocks of `view` that close, and what stands there instead of blocks."""
    tape = Tape(view.array, layout, view.data.stop)
    walker = Walker(tape, special)
    start = walker.start(view.data.start)
    if start is None:
        return Checked((), (view.data,) if view.data.frames else ())
    walked = walker.walk(start)
    blocks = tape.blocks
    chosen = zip(
        blocks.starts[walked.chosen].tolist(), blocks.stops[walked.chosen].tolist(), strict=True
    )
    faults = (Span(each.start, each.stop) for each in walked.damages)
    return Checked(
        tuple(Span(*each) for each in chosen), tuple(sorted(faults, key=attrgetter("start")))
    )
