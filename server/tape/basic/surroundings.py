"""What stands around a crunched program on its tape: its lead before it, and what follows it."""

from collections.abc import Iterator
from typing import Final

from server.tape.basic.dialect import PRINTING
from server.tape.basic.head import Head, Lead, find_head
from server.tape.basic.program import LEAD
from server.tape.findings import Finding, Severity
from server.tape.image import Image
from server.tape.view import View

_RELOAD: Final = "no interpreter loads the program so: punch a new tape from a mended image"


def lead_findings(head: Head) -> Iterator[Finding]:
    """What is wrong with the three bytes and the name before the first line."""
    frames = max(head.first - head.start, 1)
    if head.lead is Lead.DAMAGED:
        message = "the three frames D3 and the name that begin a program are damaged here"
        yield Finding("lead-damaged", Severity.DAMAGE, head.start, frames, message, _RELOAD)
    elif head.lead is Lead.TORN_OFF:
        message = "the beginning of the program is missing: no lead and no name"
        advice = "look for the rest of the tape; the lines from here on are read"
        yield Finding("record-truncated", Severity.DAMAGE, head.start, frames, message, advice)
    elif head.name is not None and head.name not in PRINTING:
        message = f"the name of the program, {head.name:02X}, is no printing character"
        yield Finding("lead-damaged", Severity.DAMAGE, head.first - 1, 1, message, _RELOAD)


def canonical_lead(head: Head) -> bytes:
    """Lead and name as they should be, as far as they are known."""
    name = b"" if head.name is None else bytes([head.name])
    return b"" if head.lead is Lead.TORN_OFF else LEAD + name


def after_program(view: View, stop: int) -> Iterator[Finding]:
    """What stands on the tape after the program that ends before frame `stop`."""
    frames = view.image.frames
    if stop >= len(frames):
        return
    rest = Image(frames[stop:], view.image.levels).data_span()
    second = find_head(frames, view.array, stop + rest.start)
    if second is not None:
        yield Finding(
            kind="second-program",
            severity=Severity.NOTE,
            frame=second.start,
            frames=max(stop + rest.stop - second.start, 1),
            message="another program follows on this tape; it is listed after this one",
            advice="nothing to do: each program on the tape is read by itself",
        )
    elif rest.frames:
        yield Finding(
            kind="frames-after-end",
            severity=Severity.NOTE,
            frame=stop + rest.start,
            frames=rest.frames,
            message=f"{rest.frames} frames that are not blank follow the end of the program",
            advice="look whether they are lettering in the trailer, or other data",
        )
