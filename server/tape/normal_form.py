"""The normal form of a decoding: what is left to compare once what cannot matter is undone.

A BASIC program is the same program whether it is crunched or text, and however its typist
spaced it, so blanks go, '?' is PRINT, and letters are capital; but not where the interpreter
itself keeps every character, in quotes, after REM and after DATA (common practice, no source;
ECMA-55, from memory, lets blanks stand anywhere but inside a quoted string).
"""

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property

from server.tape.formats.base import Decoding
from server.tape.line_targets import bodies_of
from server.tape.listing import Line, Listing

MemoryRun = tuple[int, bytes]
"""An address, and the bytes loaded from there on."""

_PIECE = re.compile(r'"[^"]*"?|:|[^":]+')
_THEN_REMARK = re.compile(r"THEN[ \t]*(?=REM)", re.IGNORECASE)
_AROUND_COMMAS = re.compile(r"[ \t]*,[ \t]*")


@dataclass(frozen=True)
class NormalForm:
    """What two images are compared by.

    `textual` says that the lines, not the bytes, are what the tape carries: then `lines` are
    those of the listing that are not blank, in normal form, and `keys` their numbers; else
    `memory` holds the bytes loaded, runs that touch joined, by rising address; addresses count
    bytes there, whatever the size of a cell, which has `cell_bytes` bytes (2 for words of 12
    bits, high byte first). `content` is `Decoding.content`.
    """

    format: str
    lines: tuple[str, ...]
    keys: tuple[int | None, ...]
    content: bytes
    textual: bool
    memory: tuple[MemoryRun, ...] = ()
    cell_bytes: int = 1

    @cached_property
    def text(self) -> str:
        """The lines, each ended by a line feed."""
        return "\n".join([*self.lines, ""])

    @cached_property
    def bodies(self) -> tuple[str, ...]:
        """The lines without their numbers, and without those that they jump to."""
        return tuple(bodies_of(self.lines, self.keys))

    @cached_property
    def binary(self) -> bytes:
        """What is loaded, in order of address; the content, where nothing says what is loaded."""
        return b"".join(run for _, run in self.memory) or self.content


def normal_form(decoding: Decoding) -> NormalForm:
    """The normal form of `decoding`."""
    return form_of(
        decoding.format,
        decoding.language,
        decoding.listing,
        decoding.content,
        decoding.memory_by_byte,
        decoding.cell_bytes,
    )


def common_cell(a: NormalForm, b: NormalForm) -> int:
    """The bytes of a cell of both; where they differ, bytes are all that both have."""
    return a.cell_bytes if a.cell_bytes == b.cell_bytes else 1


def is_textual(format_name: str, language: str | None) -> bool:
    """Whether the lines, not the bytes, are what such a tape carries."""
    return format_name == "text" or language in _NORMAL


def form_of(
    format_name: str,
    language: str | None,
    listing: Listing,
    content: bytes,
    memory: Mapping[int, bytes],
    cell_bytes: int = 1,
) -> NormalForm:
    """The normal form of what a decoding says, wherever that is kept; `memory` counts bytes."""
    textual = is_textual(format_name, language)
    # The lines of a dump say no more than the memory that they show.
    lines = [line for line in listing.lines if textual and line.text.strip()]
    return NormalForm(
        format=format_name,
        lines=tuple(normal_lines(lines, language)),
        keys=tuple(line.key for line in lines),
        content=content,
        textual=textual,
        memory=() if textual else _joined(memory),
        cell_bytes=1 if textual else cell_bytes,
    )


def normal_lines(lines: Iterable[Line], language: str | None) -> list[str]:
    """The text of each of `lines`, as it is compared; "" for a blank one."""
    normal = _NORMAL.get(language or "", _plain)
    return [normal(line) for line in lines]


def _plain(line: Line) -> str:
    return line.text.rstrip()


def _basic(line: Line) -> str:
    # A line without a number is not of the program: a prompt of the interpreter, a word of the
    # typist. It is kept as it stands.
    text = line.text.strip()
    if line.key is None:
        return text
    return f"{line.key} {_statements(text.lstrip('0123456789'))}"


_NORMAL: Mapping[str, Callable[[Line], str]] = {"basic": _basic}


def _statements(body: str) -> str:
    """The statements of one BASIC line, in normal form; in time linear in its length."""
    capital = body.upper()
    if '"' not in body and "REM" not in capital and "DATA" not in capital:
        return _squeezed(capital)
    done: list[str] = []
    begins, in_data = True, False
    for match in _PIECE.finditer(body):
        piece = match[0]
        if piece[0] in '":':
            done.append(piece)
            begins = piece == ":"
            in_data = in_data and not begins
            continue
        start = _remark_start(piece) if not in_data else None
        if start is not None and (start or begins):
            done.append(_squeezed(piece[:start].upper()))
            return "".join([*done, "REM", body[match.start() + start :].lstrip()[3:].strip()])
        if begins and piece.lstrip()[:4].upper() == "DATA":
            in_data, piece = True, piece.lstrip()[4:]
            done.append("DATA")
        done.append(_AROUND_COMMAS.sub(",", piece.strip()) if in_data else _squeezed(piece.upper()))
        begins = False
    return "".join(done)


def _remark_start(piece: str) -> int | None:
    """Where a remark starts in `piece` of a line: at its beginning or after THEN."""
    if piece.lstrip()[:3].upper() == "REM":
        return 0
    match = _THEN_REMARK.search(piece)
    return match.end() if match else None


def _squeezed(text: str) -> str:
    return text.replace(" ", "").replace("\t", "").replace("?", "PRINT")


def _joined(memory: Mapping[int, bytes]) -> tuple[MemoryRun, ...]:
    """The runs of `memory` by rising address, those that touch joined; later ones overwrite."""
    runs: list[tuple[int, bytearray]] = []
    for start in sorted(memory):
        data = memory[start]
        if runs and start <= runs[-1][0] + len(runs[-1][1]):
            at, image = runs[-1]
            image[start - at : start - at + len(data)] = data
        elif data:
            runs.append((start, bytearray(data)))
    return tuple((start, bytes(run)) for start, run in runs)
