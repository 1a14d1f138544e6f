"""Text in ISO 646: listings, letters, data; any parity, any line ending.

Sources: ECMA-6 for the characters, ECMA-10 for the tape. CR LF with fill after it, lone CR or
LF, and rub-outs over mistypings: common practice, no source.
"""

import re
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from server.tape.codes.base import Characters, Parity
from server.tape.codes.iso_646 import DEL, NUL, Iso646, choose_parity, parity_breaks
from server.tape.errors import CannotBuild
from server.tape.findings import Finding, Severity, check_status
from server.tape.formats.base import Decoding, Evidence, Loader
from server.tape.image import Image, Span
from server.tape.language import line_number, name_language
from server.tape.listing import Line, Listing
from server.tape.parity_findings import parity_findings
from server.tape.reading_order import likelihood_forward
from server.tape.view import View

_PRINTING = bytes([*b"\t\n\f\r", *range(0x20, 0x7F)])
_LINE_END = re.compile(rb"\r*\n(?:\r(?![\r\n]))?|\r+")
_CONTROL = re.compile(rb"[\x00-\x08\x0b\x0c\x0e-\x1f]")
_TRANSPARENT = bytes([NUL, DEL])
_CODE = Iso646()

_SAMPLE = 8192
_CHANCE = 0.6
"""Chance, judged with caution, that a frame of something else passes for a character in parity;
printing characters are 99 of 128, and a rule of parity halves that."""

_WORST_SHARE, _GOOD_SHARE = 0.85, 0.98
"""Share of printing characters below which nothing is text, and above which all is; random
frames reach 0.79."""

_ERROR_COSTS = 5
"""Characters whose testimony one parity error undoes: beyond one in five nothing is text."""

_MOST_CONTROLS_TOLD = 50


@dataclass(frozen=True, slots=True)
class TextContent:
    """Lines of text to punch, and how."""

    lines: tuple[str, ...]
    parity: Parity = Parity.EVEN
    line_end: bytes = b"\r\n"
    leader: int = 60
    trailer: int = 60


class Text:
    """Lines of ISO 646 characters."""

    name: ClassVar[str] = "text"
    title: ClassVar[str] = "Text"
    source: ClassVar[str] = "ECMA-6, ECMA-10"

    def recognise(self, view: View) -> Evidence | None:
        """Text where nearly all frames print, in one parity, and the words run forwards."""
        if view.image.levels not in _CODE.levels:
            return None
        histogram = view.histogram
        parity = choose_parity(histogram, view.image.levels)
        seven_bit = histogram[:128] + histogram[128:]
        seven_bit[list(_TRANSPARENT)] = 0
        carriers = int(seven_bit.sum())
        share = int(seven_bit[list(_PRINTING)].sum()) / max(carriers, 1)
        if share <= _WORST_SHARE:
            return None
        looks = _looks_like_text(share, carriers, parity_breaks(histogram, parity))
        if parity is Parity.NONE and view.image.levels == 8:
            looks *= 0.4
        forward = likelihood_forward(_sample(view), turned=view.orientation.runs_backwards)
        return Evidence(looks * forward, _reason(share, parity, forward))

    def parse(self, view: View) -> Decoding:
        """The lines of the text; control characters in it shown as {07}."""
        characters = view.characters(_CODE.name)
        listing = Listing(tuple(_lines(characters)))
        language = name_language(listing)
        if language == "basic":
            listing = Listing(tuple(line._replace(key=line_number(line.text)) for line in listing))
        findings = (
            *parity_findings(characters),
            *_rub_outs(view, characters),
            *_controls(characters),
        )
        return Decoding(
            format=self.name,
            data=_data_span(view, characters),
            listing=listing,
            check_status=check_status(
                findings, carries_check=bool(characters.text) and characters.parity.detects_flips
            ),
            content=b"\n".join(_LINE_END.split(characters.text.rstrip(b"\r\n"))),
            findings=findings,
            code=_CODE.name,
            parity=characters.parity,
            language=language,
            loader=Loader.LANGUAGE_INTERPRETER if language == "basic" else Loader.NONE,
        )

    def build(self, content: TextContent) -> Image:
        """The tape that carries the lines of `content`.

        Raises:
            CannotBuild: a line holds a character that ISO 646 lacks, or a line end.
        """
        text = b"".join(_in_iso_646(line) + content.line_end for line in content.lines)
        frames = _CODE.write(text, content.parity)
        return Image(bytes(content.leader) + frames + bytes(content.trailer))


def _in_iso_646(line: str) -> bytes:
    try:
        characters = line.encode("ascii")
    except UnicodeEncodeError as error:
        raise CannotBuild(
            f"ISO 646 has no character {line[error.start]!r}",
            frame=None,
            mend="write it in the 128 characters that the code has",
        ) from error
    if b"\r" in characters or b"\n" in characters:
        raise CannotBuild("a line holds a line end", mend="give it as two lines")
    return characters


def _looks_like_text(share: float, carriers: int, parity_errors: int) -> float:
    quality = min(1.0, (share - _WORST_SHARE) / (_GOOD_SHARE - _WORST_SHARE))
    telling = max(0, carriers - _ERROR_COSTS * parity_errors)
    return max(0.0, 0.97 * quality * (1 - 4 * _CHANCE**telling))


def _sample(view: View) -> bytes:
    start, stop = view.data
    frames = view.array[start : min(stop, start + _SAMPLE)]
    return (frames & DEL).tobytes().translate(None, _TRANSPARENT)


def _reason(share: float, parity: Parity, forward: float) -> str:
    rule = "in no steady parity" if parity is Parity.NONE else f"in {parity} parity"
    way = "runs forwards" if forward >= 0.5 else "seems to run backwards"
    return f"{share:.1%} of the frames are printing characters {rule}; the text {way}"


def _lines(characters: Characters) -> list[Line]:
    text, frames = characters.text, characters.frames.tolist()
    lines = []
    start = 0
    for end in _LINE_END.finditer(text):
        lines.append(_line(text, frames, start, end.start(), end.end()))
        start = end.end()
    if start < len(text):
        lines.append(_line(text, frames, start, len(text), len(text)))
    return lines


def _line(text: bytes, frames: list[int], start: int, stop: int, end: int) -> Line:
    """The line `text[start:stop]`, whose line ending reaches to `end`."""
    shown = _CONTROL.sub(lambda match: b"{%02X}" % match[0][0], text[start:stop])
    return Line(shown.decode("ascii"), frames[start], frames[end - 1] + 1 - frames[start])


def _data_span(view: View, characters: Characters) -> Span:
    if not characters.text:
        return Span(len(view.array), len(view.array))
    return Span(int(characters.frames[0]), int(characters.frames[-1]) + 1)


def _rub_outs(view: View, characters: Characters) -> list[Finding]:
    if not characters.rub_outs:
        return []
    start, stop = _data_span(view, characters)
    first = int(np.flatnonzero((view.array[start:stop] & DEL) == DEL)[0]) + start
    return [
        Finding(
            kind="rub-out",
            severity=Severity.NOTE,
            frame=first,
            frames=1,
            message=f"{characters.rub_outs} rubbed-out frames stand in the text, the first here",
            advice="nothing to do: a rub-out is how a mistyping was taken back",
        )
    ]


def _controls(characters: Characters) -> list[Finding]:
    found = [match.start() for match in _CONTROL.finditer(characters.text)]
    told = found[:_MOST_CONTROLS_TOLD]
    findings = [
        Finding(
            kind="control-character",
            severity=Severity.WARNING,
            frame=int(characters.frames[at]),
            frames=1,
            message=f"the control character {characters.text[at]:02X} stands in the text",
            advice="compare the frame with the tape; some programs ring a bell or stop the reader",
        )
        for at in told
    ]
    if len(found) > len(told):
        first, last = int(characters.frames[found[len(told)]]), int(characters.frames[found[-1]])
        findings.append(
            Finding(
                kind="control-character",
                severity=Severity.WARNING,
                frame=first,
                frames=last + 1 - first,
                message=f"{len(found) - len(told)} more control characters from here on",
                advice="so many are unusual in text: check that the tape is text at all",
            )
        )
    return findings
