"""Text: listings, letters, data; in any code that has the letters, any parity, any line ending.

Sources: those of the codes. CR LF with fill after it, lone CR or LF, and rub-outs over
mistypings: common practice, no source.
"""

import re
from dataclasses import dataclass
from itertools import islice
from typing import ClassVar

import numpy as np

from server.tape.basic.references import missing_lines
from server.tape.codes import CODES
from server.tape.codes.base import Characters, Code, Fit, Parity
from server.tape.errors import CannotBuild
from server.tape.findings import Finding, Severity, check_status
from server.tape.formats.base import Decoding, Evidence, Loader
from server.tape.hexadecimal.places import bounded_by_kind
from server.tape.image import Image, Span
from server.tape.language import line_number, name_language
from server.tape.listing import MOST_LINES, Line, Listing
from server.tape.material import ENDS, Kind, Material, Pattern, Writing
from server.tape.parity_findings import parity_findings
from server.tape.reading_order import likelihood_forward, likelihood_readable
from server.tape.unlisted import lines_unlisted
from server.tape.view import View

_LINE_END = re.compile(rb"\r*\n(?:\r(?![\r\n]))?|\r+")
_BARE_RETURN = re.compile(rb"\r")
_CONTROLS = bytes(each for each in range(0x20) if each not in b"\t\n\r")

_CODES = tuple(CODES[name] for name in ("iso-646", "ita2", "ita2-us", "rs-244"))
_SAMPLE = 8192

_MOST = 0.97
_WORST_SHARE, _GOOD_SHARE = 0.85, 0.98
"""Share of characters among the frames below which nothing is text, and above which all is;
random frames reach 0.79 in ISO 646."""

_ERROR_COSTS = 5
"""Characters whose testimony one parity error undoes: beyond one in five nothing is text."""

_NO_PARITY_COSTS = 0.4
"""Eight-level text whose channel 8 obeys no rule is seldom text."""

_MOST_CONTROLS_TOLD = 50


@dataclass(frozen=True, slots=True)
class TextContent:
    """Lines of text to punch, and how."""

    lines: tuple[str, ...]
    parity: Parity = Parity.EVEN
    line_end: bytes = b"\r\n"
    leader: int = 60
    trailer: int = 60
    code: str = "iso-646"


class Text:
    """Lines of characters."""

    name: ClassVar[str] = "text"
    title: ClassVar[str] = "Text"
    source: ClassVar[str] = "ECMA-6, ECMA-10; ITU-T S.1; EIA RS-244-B"
    takes: ClassVar[tuple[Kind, ...]] = (Kind.LINES, Kind.BASIC)
    offers: ClassVar[tuple[Kind, ...]] = (Kind.LINES, Kind.BASIC)
    codes: ClassVar[tuple[str, ...]] = ("iso-646", "ita2", "ita2-us", "rs-244", "iso-840")
    idle: ClassVar[tuple[Pattern, ...]] = (Pattern.BLANK, Pattern.RUB_OUT)
    wakes: ClassVar[bytes | None] = None
    divides: ClassVar[str] = "each reel is read on its own, in their order"

    def recognise(self, view: View) -> Evidence | None:
        """Text where nearly all frames are characters in one parity, and the words make sense."""
        found = _surest(view)
        return found[1] if found else None

    def parse(self, view: View) -> Decoding:
        """The lines of the text; control characters in it shown as {07}."""
        characters = view.characters(_code_of(view).name)
        listing = Listing(tuple(_lines(characters)))
        language = name_language(listing)
        if language == "basic":
            listing = Listing(tuple(line._replace(key=line_number(line.text)) for line in listing))
        findings = (
            *parity_findings(characters, view.array),
            *_rub_outs(view, characters),
            *_controls(characters),
            *_unlisted(characters, listing),
            *_missing_lines(listing, language),
        )
        return Decoding(
            format=self.name,
            data=_data_span(view, characters),
            listing=listing,
            check_status=check_status(
                findings, carries_check=bool(characters.text) and characters.parity.detects_flips
            ),
            content=_with_line_feeds(characters.text),
            findings=findings,
            code=characters.code,
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
        code = CODES[content.code]
        frames = code.write(text, content.parity)
        return Image(bytes(content.leader) + frames + bytes(content.trailer), max(code.levels))

    def write(self, material: Material, way: Writing) -> Image:
        """The tape that carries the lines of `material`, CR LF after each where the code has it."""
        code = way.code or self.codes[0]
        return self.build(
            TextContent(
                material.typed,
                way.parity,
                line_end=_line_end_in(CODES[code]),
                leader=ENDS,
                trailer=ENDS,
                code=code,
            )
        )


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


def _line_end_in(code: Code) -> bytes:
    try:
        code.write(b"\r\n", Parity.EVEN)
    except CannotBuild:
        return b"\n"
    return b"\r\n"


def _surest(view: View) -> tuple[Code, Evidence] | None:
    """The code in which `view` is likeliest text, with the evidence for it."""
    levels = view.image.levels
    weighed = [(code, _evidence(view, code)) for code in _CODES if levels in code.levels]
    likely = [(code, evidence) for code, evidence in weighed if evidence]
    return max(likely, key=lambda each: each[1].confidence, default=None)


def _code_of(view: View) -> Code:
    found = _surest(view)
    return found[0] if found else _CODES[0]


def _evidence(view: View, code: Code) -> Evidence | None:
    fit = code.weigh(view.histogram, view.image.levels)
    share = fit.fitting / max(fit.carriers, 1)
    if share <= _WORST_SHARE:
        return None
    turned = view.orientation.runs_backwards
    text = _sample(view, code)
    if code.chance == 1:
        makes_sense = likelihood_readable(text, turned=turned)
        return Evidence(_MOST * makes_sense, f"{fit.carriers} characters, {_sense(makes_sense)}")
    forward = likelihood_forward(text, turned=turned)
    looks = _looks_like_text(fit, share, code)
    if fit.parity is Parity.NONE and view.image.levels == 8:
        looks *= _NO_PARITY_COSTS
    return Evidence(looks * forward, _reason(share, fit.parity, forward))


def _looks_like_text(fit: Fit, share: float, code: Code) -> float:
    quality = min(1.0, (share - _WORST_SHARE) / (_GOOD_SHARE - _WORST_SHARE))
    telling = max(0, fit.carriers - _ERROR_COSTS * fit.parity_errors)
    # Four rules of parity, or as many kinds of misreading, each had its chance.
    return max(0.0, _MOST * quality * (1 - 4 * code.chance**telling))


def _sample(view: View, code: Code) -> bytes:
    start, stop = view.data
    frames = view.array[start : min(stop, start + _SAMPLE)]
    return code.read(frames, view.image.levels).text


def _reason(share: float, parity: Parity, forward: float) -> str:
    rule = "in no steady parity" if parity is Parity.NONE else f"in {parity} parity"
    return f"{share:.1%} of the frames are printing characters {rule}; the text {_way(forward)}"


def _way(forward: float) -> str:
    return "runs forwards" if forward >= 0.5 else "seems to run backwards"


def _sense(makes_sense: float) -> str:
    return "in words" if makes_sense >= 0.5 else "in no words"


def _line_end(text: bytes) -> re.Pattern[bytes]:
    """What ends a line: returns in a row are one end, unless the text has nothing but returns."""
    return _LINE_END if b"\n" in text else _BARE_RETURN


def _with_line_feeds(text: bytes) -> bytes:
    """`text` without the line ends behind it, each of the others a line feed."""
    inside = text.rstrip(b"\r\n")
    # Where each return stands before a line feed, it takes no expression to see the ends.
    if inside.count(b"\r\n") == inside.count(b"\r"):
        return inside.replace(b"\r\n", b"\n")
    return _line_end(text).sub(b"\n", inside)


def _lines(characters: Characters) -> list[Line]:
    """The lines, a line end in the frames of each; no Python runs for a single character."""
    text = characters.text
    if not text:
        return []
    ends = [end.span() for end in islice(_line_end(text).finditer(text), MOST_LINES)]
    if len(ends) < MOST_LINES and (not ends or ends[-1][1] < len(text)):
        ends.append((len(text), len(text)))
    bounds = np.array(ends).reshape(-1, 2)
    starts = np.append(0, bounds[:-1, 1])
    texts = _shown(
        [text[start:stop] for start, (stop, _) in zip(starts.tolist(), ends, strict=True)]
    )
    first, last = characters.frames[starts], characters.frames[bounds[:, 1] - 1]
    return list(map(Line, texts, first.tolist(), (last + 1 - first).tolist()))


def _shown(lines: list[bytes]) -> list[str]:
    """The lines as text, control characters as {07}."""
    together = b"\n".join(lines)
    for control in _CONTROLS:
        together = together.replace(bytes([control]), b"{%02X}" % control)
    return together.decode("ascii").split("\n")


def _data_span(view: View, characters: Characters) -> Span:
    if not characters.text:
        return Span(len(view.array), len(view.array))
    return Span(int(characters.frames[0]), int(characters.frames[-1]) + 1)


def _unlisted(characters: Characters, listing: Listing) -> list[Finding]:
    if len(listing) < MOST_LINES:
        return []
    start, stop = listing.lines[-1].frame, int(characters.frames[-1]) + 1
    return [lines_unlisted(start, stop, "the image is kept whole")]


def _missing_lines(listing: Listing, language: str | None) -> list[Finding]:
    return bounded_by_kind(missing_lines(listing.lines)) if language == "basic" else []


def _rub_outs(view: View, characters: Characters) -> list[Finding]:
    if not characters.rub_outs:
        return []
    all_holes = (1 << min(view.image.levels, 7)) - 1
    inside = view.array[slice(*_data_span(view, characters))] & all_holes
    first = int(np.flatnonzero(inside == all_holes)[0]) + int(characters.frames[0])
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
    found = np.flatnonzero(np.isin(np.frombuffer(characters.text, np.uint8), list(_CONTROLS)))
    told = found[:_MOST_CONTROLS_TOLD].tolist()
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
