"""Crunched BASIC: a program as the interpreter stored it, saved with its tokens and links.

Three bytes D3, a one-character name, then lines: the link to the next line (two bytes, low
first), the line number (two bytes), the text with keywords as one-byte tokens, 00; the program
ends with a link of zero. Understood: the 8K class of the 8080 family; from memory. Blank tape
after the zero link is trailer, however much of it the machine saved.
"""

from collections.abc import Sequence
from typing import ClassVar, Final

from server.tape.basic import DIALECTS
from server.tape.basic.dialect import PRINTING
from server.tape.basic.head import Head, Lead, find_head
from server.tape.basic.links import HEADER
from server.tape.basic.plausibility import choose_dialect
from server.tape.basic.program import BasicProgram, program_bytes
from server.tape.basic.rows import number_findings, read_rows
from server.tape.basic.surroundings import after_program, canonical_lead, lead_findings
from server.tape.basic.walk import Row, Walked, walk
from server.tape.findings import CheckStatus, Finding, Severity, check_status
from server.tape.formats.base import Decoding, Evidence, Loader, LoadRange
from server.tape.hexadecimal.places import bounded_by_kind
from server.tape.image import Image, Span
from server.tape.listing import Listing
from server.tape.view import View

_SAMPLE_LINES: Final = 200

_SURE: Final = {
    # By what is left of the lead: how sure none, one, two or more of the links make us that
    # lead to where the line after them says it stood. One in 65536 does so by chance.
    Lead.WHOLE: (0.9, 0.97, 0.995),
    Lead.DAMAGED: (0.55, 0.8, 0.9),
    Lead.TORN_OFF: (0.1, 0.3, 0.85),
}


class CrunchedBasic:
    """A BASIC program in tokens."""

    name: ClassVar[str] = "crunched-basic"
    title: ClassVar[str] = "Crunched BASIC"
    source: ClassVar[str] = "from memory"

    def recognise(self, view: View) -> Evidence | None:
        """What is left of the lead, and how many of the first links lead to the next line."""
        head = _head(view)
        if head is None:
            return None
        walked = walk(view.image.frames, head.first, most_lines=_SAMPLE_LINES)
        agreed = sum(row.agreed for row in walked.rows)
        lead = "three D3 and a name" if head.lead is Lead.WHOLE else f"the lead is {head.lead}"
        return Evidence(
            _confidence(walked, head, agreed),
            f"{lead}; the links of {agreed} of the first {len(walked.rows)} lines lead to the next",
        )

    def parse(self, view: View) -> Decoding:
        """The lines as the interpreter lists them; damage in a line costs that line only."""
        head = _head(view)
        if head is None:
            return _nothing(view)
        frames = view.image.frames
        walked = walk(frames, head.first)
        rows = [*_torn_line(head), *walked.rows]
        dialect = choose_dialect(_texts(frames, walked.rows), DIALECTS.values())
        lines, oddities = read_rows(frames, rows, dialect)
        findings = bounded_by_kind(
            [
                *lead_findings(head),
                *walked.faults,
                *number_findings(walked.rows),
                *oddities,
                *after_program(view, walked.stop),
            ]
        )
        memory = _memory(frames[head.first : walked.stop], walked)
        return Decoding(
            format=self.name,
            data=Span(head.start, walked.stop),
            listing=Listing(tuple(lines)),
            check_status=check_status(findings, carries_check=False),
            content=canonical_lead(head) + _relinked(frames, rows) + b"\0\0" * walked.ended,
            findings=tuple(findings),
            dialect=dialect.name,
            language="basic",
            loader=Loader.LANGUAGE_INTERPRETER,
            load_ranges=tuple(LoadRange(at, at + len(run) - 1) for at, run in memory.items()),
            memory=memory,
        )

    def build(self, content: BasicProgram) -> Image:
        """The tape that a machine punches of `content`.

        Raises:
            CannotBuild: the interpreter could not hold it; see `program_bytes`.
        """
        return Image(bytes(content.leader) + program_bytes(content) + bytes(content.trailer))


def _head(view: View) -> Head | None:
    if view.image.levels != 8:
        return None
    return find_head(view.image.frames, view.array, view.data.start)


def _confidence(walked: Walked, head: Head, agreed: int) -> float:
    # The first line whose link agrees has nothing before it that would bear it out.
    beyond = agreed - 1
    if beyond < 0 or (beyond == 0 and not walked.ended):
        bare = (
            head.lead is Lead.WHOLE
            and head.name is not None
            and head.name in PRINTING
            and walked.stop > head.first
        )
        return 0.3 if bare else 0.05
    if head.lead is not Lead.WHOLE and walked.ended and walked.rows[-1].agreed:
        # Where the lead says less, that the last link leads to the zero link says the more.
        beyond += 1
    sure = _SURE[head.lead][min(beyond, 2)]
    if number_findings(walked.rows):
        sure = min(sure, 0.97)
    return sure * (0.5 + 0.5 * agreed / len(walked.rows))


def _texts(frames: bytes, rows: Sequence[Row]) -> list[bytes]:
    return [frames[row.start + HEADER : row.stop - 1] for row in rows[:_SAMPLE_LINES] if row.sound]


def _torn_line(head: Head) -> list[Row]:
    """What is left of a line before the first whole one, where the beginning is torn off."""
    if head.lead is not Lead.TORN_OFF or head.start == head.first:
        return []
    return [Row(head.start, head.first, None, sound=False, agreed=False)]


def _relinked(frames: bytes, rows: Sequence[Row]) -> bytes:
    """The lines, each link put as the line's length, so that the address does not matter."""
    relinked = bytearray()
    for row in rows:
        relinked += (row.stop - row.start & 0xFFFF).to_bytes(2, "little")
        relinked += frames[row.start + 2 : row.stop]
    return bytes(relinked)


def _memory(program: bytes, walked: Walked) -> dict[int, bytes]:
    """What `program` fills of the memory of the machine that saved it, if all links agree."""
    address = walked.address
    if not walked.ended or walked.faults or address is None or address + len(program) > 0x10000:
        return {}
    return {address: program}


def _nothing(view: View) -> Decoding:
    end = len(view.image)
    finding = Finding(
        kind="record-truncated",
        severity=Severity.DAMAGE,
        frame=view.data.start if view.data.frames else 0,
        frames=max(view.data.frames, 1),
        message="no crunched program is found on this tape",
        advice="look what else the tape may be",
    )
    return Decoding(
        format=CrunchedBasic.name,
        data=Span(end, end),
        listing=Listing(),
        check_status=CheckStatus.DAMAGED,
        content=b"",
        findings=(finding,),
        language="basic",
        loader=Loader.LANGUAGE_INTERPRETER,
    )
