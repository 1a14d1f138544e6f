"""Crunched BASIC: a program as the interpreter stored it, saved with its tokens and links.

Three bytes D3, a one-character name, then lines: the link to the next line (two bytes, low
first), the line number (two bytes), the text with keywords as one-byte tokens, 00; the program
ends with a link of zero. Understood are the classes of `server.tape.basic`, which differ in their
tokens; some may lack D3 and name. All from memory. Blank tape after the zero link is trailer,
however much of it the machine saved.
"""

from collections.abc import Iterator, Mapping, Sequence
from typing import ClassVar, Final

from server.tape.basic import DIALECTS
from server.tape.basic.dialect import PRINTING, Dialect
from server.tape.basic.head import Head, Lead, find_head
from server.tape.basic.links import HEADER
from server.tape.basic.plausibility import Choice, choose_dialect
from server.tape.basic.program import LEAD, BasicProgram, program_bytes
from server.tape.basic.references import missing_lines
from server.tape.basic.rows import number_findings, read_rows
from server.tape.basic.surroundings import after_program, canonical_lead, lead_findings
from server.tape.basic.walk import Row, Walked, walk
from server.tape.findings import CheckStatus, Finding, Severity, check_status
from server.tape.formats.base import Decoding, Evidence, Loader, LoadRange
from server.tape.hexadecimal.places import bounded_by_kind
from server.tape.image import Image, Span
from server.tape.listing import Listing
from server.tape.loading import LoadedBlock
from server.tape.material import ENDS, Kind, Material, Pattern, Writing
from server.tape.view import View

_SAMPLE_LINES: Final = 200

_START: Final = 0x2001
"""Where programs stand in memory by default (from memory); links say so, and loaders mend them."""

_NAMELESS: Final = "A"

_SURE: Final = {
    # By what is left of the lead: how sure none, one, two or more of the links make us that
    # lead to where the line after them says it stood. One in 65536 does so by chance.
    Lead.WHOLE: (0.9, 0.97, 0.995),
    # Machine code is full of D3 too, so half a lead and one link are not enough.
    Lead.DAMAGED: (0.3, 0.45, 0.9),
    Lead.TORN_OFF: (0.1, 0.3, 0.85),
}


_LEAD_WORDS: Final = {
    Lead.WHOLE: "three D3 and a name",
    Lead.DAMAGED: "the lead is damaged",
    Lead.TORN_OFF: "no lead",
}


class CrunchedBasic:
    """A BASIC program in the tokens of one of `dialects`."""

    name: ClassVar[str] = "crunched-basic"
    title: ClassVar[str] = "Crunched BASIC"
    source: ClassVar[str] = "from memory"
    takes: ClassVar[tuple[Kind, ...]] = (Kind.BASIC,)
    offers: ClassVar[tuple[Kind, ...]] = (Kind.BASIC,)
    codes: ClassVar[tuple[str, ...]] = ()
    idle: ClassVar[tuple[Pattern, ...]] = (Pattern.BLANK,)
    wakes: ClassVar[bytes | None] = LEAD[:1]
    divides: ClassVar[str] = ""

    def __init__(self, dialects: Mapping[str, Dialect] = DIALECTS) -> None:
        self.dialects = dialects

    def recognise(self, view: View) -> Evidence | None:
        """What is left of the lead, and how many of the first links lead to the next line."""
        head = _head(view)
        if head is None:
            return None
        walked = walk(view.image.frames, head.first, most_lines=_SAMPLE_LINES)
        agreed = sum(row.agreed for row in walked.rows)
        return Evidence(
            _confidence(walked, head, agreed),
            f"{_LEAD_WORDS[head.lead]}; the links of {agreed} of the first {len(walked.rows)} "
            "lines lead to the next",
        )

    def parse(self, view: View) -> Decoding:
        """The lines as the interpreter lists them; damage in a line costs that line only."""
        head = _head(view)
        if head is None:
            return _nothing(view)
        frames = view.image.frames
        walked = walk(frames, head.first)
        torn = _torn_line(head)
        rows = [*torn, *walked.rows]
        choice = choose_dialect(_texts(frames, walked.rows), self.dialects.values())
        lines, oddities = read_rows(frames, rows, choice.dialect)
        bare = choice.dialect.may_be_bare and head.lead is Lead.TORN_OFF and not torn
        findings = bounded_by_kind(
            [
                *(() if bare else lead_findings(head)),
                *_doubts(choice, walked.rows),
                *walked.faults,
                *number_findings(walked.rows),
                *oddities,
                *missing_lines(lines, choice.dialect),
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
            dialect=choice.dialect.name,
            language="basic",
            loader=Loader.LANGUAGE_INTERPRETER,
            load_ranges=tuple(LoadRange(at, at + len(run) - 1) for at, run in memory.items()),
            memory=memory,
            blocks=tuple(
                LoadedBlock(at, at + len(run) - 1, head.first, len(run), sound=True)
                for at, run in memory.items()
            ),
        )

    def build(self, content: BasicProgram) -> Image:
        """The tape that a machine punches of `content`.

        Raises:
            CannotBuild: the interpreter could not hold it; see `program_bytes`.
        """
        return Image(
            bytes(content.leader) + program_bytes(content, self.dialects) + bytes(content.trailer)
        )

    def write(self, material: Material, way: Writing) -> Image:
        """The tape that a machine punches of `material`, without a lead if it has no name."""
        program = BasicProgram(
            material.name or _NAMELESS,
            material.numbered,
            start_address=_START if way.start_address is None else way.start_address,
            dialect=way.dialect or next(iter(self.dialects)),
            leader=ENDS,
            trailer=ENDS,
            bare=not material.name,
        )
        return self.build(program)


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


def _doubts(choice: Choice, rows: Sequence[Row]) -> Iterator[Finding]:
    """That another dialect explains the program nearly as well, where one does."""
    if not choice.rivals or not rows:
        return
    names = [choice.dialect.name, *(rival.name for rival in choice.rivals)]
    outcome = (
        "none of its lines reads otherwise in them"
        if choice.alike
        else f"the listing is that of {names[0]}"
    )
    yield Finding(
        kind="dialect-uncertain",
        severity=Severity.NOTE,
        frame=rows[0].start,
        frames=rows[-1].stop - rows[0].start,
        message=f"{', '.join(names[:-1])} and {names[-1]} explain the program about as well; "
        f"{outcome}",
        advice="find out which interpreter the tape was made for, and compare with its listing",
    )


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
