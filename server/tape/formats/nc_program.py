"""Programs of numerical control: word address blocks, in any code that controls read.

Sources: ISO 6983 for blocks and words, and those of the codes; all from memory. ISO 646 in
another parity than even is of later controls (common practice, no source).
"""

import re
from dataclasses import dataclass, replace
from typing import ClassVar

import numpy as np

from server.tape.codes import CODES
from server.tape.codes.base import Characters, Parity
from server.tape.errors import CannotBuild
from server.tape.findings import Finding, Severity, check_status
from server.tape.formats.base import Decoding, Evidence, Loader
from server.tape.hexadecimal.places import Places
from server.tape.image import Image, Span
from server.tape.listing import Line, Listing
from server.tape.material import ENDS, Kind, Material, Pattern, Writing
from server.tape.nc.blocks import Block, Program, blocks_of, first_program
from server.tape.nc.facts import facts_of
from server.tape.nc.findings import block_findings
from server.tape.nc.recognition import surest
from server.tape.parity_findings import parity_findings
from server.tape.view import View

_CONTROL = re.compile(rb"[\x00-\x08\x0b-\x1f]")
_DEFAULT = "iso-840"


@dataclass(frozen=True, slots=True)
class NcContent:
    """Blocks to punch, without their ends, and how.

    `code` is one of `rs-244`, `iso-840` and `iso-646`; `parity` is for the last of them only.
    """

    blocks: tuple[str, ...]
    code: str = _DEFAULT
    parity: Parity = Parity.EVEN
    leader: int = 60
    trailer: int = 60


class NcProgram:
    """Blocks of words, each a letter and a number."""

    name: ClassVar[str] = "nc-program"
    title: ClassVar[str] = "Numerical control program"
    source: ClassVar[str] = "ISO 6983; EIA RS-244-B, ISO 840"
    takes: ClassVar[tuple[Kind, ...]] = (Kind.BLOCKS,)
    offers: ClassVar[tuple[Kind, ...]] = (Kind.BLOCKS, Kind.LINES)
    codes: ClassVar[tuple[str, ...]] = ("iso-840", "rs-244", "iso-646")
    idle: ClassVar[tuple[Pattern, ...]] = (Pattern.BLANK, Pattern.RUB_OUT)
    wakes: ClassVar[bytes | None] = None
    divides: ClassVar[str] = (
        "each reel is read on its own, in their order; the first alone may begin with %, where a "
        "control winds back to"
    )

    def recognise(self, view: View) -> Evidence | None:
        """A program where most blocks are made of words, and some are numbered or prepare."""
        found = surest(view)
        return Evidence(found.confidence, found.reason) if found else None

    def parse(self, view: View) -> Decoding:
        """The blocks as they are punched, in capitals; what is none of these shown as {1A}."""
        found = surest(view)
        characters = view.characters(found.code if found else _DEFAULT)
        blocks = blocks_of(characters.text)
        program = first_program(blocks)
        data = _data_span(view, characters, program, cut_off=program.stop < _read(blocks))
        findings = (
            *_parity(view, characters, data),
            *block_findings(program, Places(characters)),
            *_unlisted(characters, _read(blocks)),
        )
        return Decoding(
            format=self.name,
            data=data,
            listing=Listing(tuple(_lines(program, characters))),
            check_status=check_status(
                findings, carries_check=bool(characters.text) and characters.parity.detects_flips
            ),
            content=b"\n".join(block.text.strip() for block in program.blocks),
            findings=tuple(sorted(findings, key=lambda finding: finding.frame)),
            code=characters.code,
            parity=characters.parity,
            language="nc",
            loader=Loader.NONE,
            facts=facts_of(program, data.frames),
        )

    def build(self, content: NcContent) -> Image:
        """The tape that carries the blocks of `content`, a line feed after each.

        Raises:
            CannotBuild: a block holds a line end or a character that the code lacks.
        """
        for block in content.blocks:
            if "\n" in block or "\r" in block:
                raise CannotBuild("a block holds the end of a block", mend="give it as two")
        text = "".join(f"{block}\n" for block in content.blocks)
        try:
            characters = text.encode("ascii")
        except UnicodeEncodeError as error:
            raise CannotBuild(
                f"no code of numerical control has {text[error.start]!r}",
                mend="write it with digits, capitals and the signs that the code has",
            ) from error
        frames = CODES[content.code].write(characters, content.parity)
        return Image(bytes(content.leader) + frames + bytes(content.trailer))

    def write(self, material: Material, way: Writing) -> Image:
        """The tape that carries the blocks of `material`."""
        return self.build(
            NcContent(
                material.lines,
                way.code or self.codes[0],
                way.parity,
                leader=ENDS,
                trailer=ENDS,
            )
        )


def _read(blocks: list[Block]) -> int:
    """How many characters the blocks take."""
    return blocks[-1].stop if blocks else 0


def _data_span(view: View, characters: Characters, program: Program, *, cut_off: bool) -> Span:
    frames = characters.frames
    if not frames.size:
        return Span(len(view.array), len(view.array))
    last = program.stop - 1 if cut_off else frames.size - 1
    return Span(int(frames[0]), int(frames[last]) + 1)


def _lines(program: Program, characters: Characters) -> list[Line]:
    blocks = program.blocks
    if not blocks:
        return []
    starts = characters.frames[[block.start for block in blocks]]
    stops = characters.frames[[block.stop - 1 for block in blocks]] + 1
    spans = zip(blocks, starts.tolist(), (stops - starts).tolist(), strict=True)
    return [Line(_shown(block.text), start, frames, block.number) for block, start, frames in spans]


def _shown(text: bytes) -> str:
    return _CONTROL.sub(lambda match: b"{%02X}" % match[0][0], text).decode("ascii")


def _parity(view: View, characters: Characters, data: Span) -> list[Finding]:
    errors = characters.parity_errors
    inside = errors[slice(*errors.searchsorted(np.array(data, errors.dtype)))]
    return parity_findings(replace(characters, parity_errors=inside), view.array)


def _unlisted(characters: Characters, read: int) -> list[Finding]:
    """One finding where a tape is longer than any roll, and was not read to its end."""
    if not characters.text[read:].strip():
        return []
    return [
        Places(characters).finding(
            read,
            len(characters.text),
            "blocks-unread",
            Severity.WARNING,
            "from here on the blocks were not read: no roll is as long as this",
            "check that this is one tape, and divide the image if it is not",
        )
    ]
