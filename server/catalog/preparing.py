"""Tapes prepared for the punch from images that are held: previews, reels as files, and words."""

from collections.abc import Mapping
from dataclasses import asdict
from datetime import date
from typing import Annotated, Any, Final

from pydantic import BeforeValidator

from server.catalog import downloads, images
from server.catalog.downloads import SUFFIX
from server.catalog.errors import Invalid, NotFound
from server.catalog.inputs import Input, Name, OrNone
from server.catalog.records import Download, ImageRecord
from server.catalog.work import Work
from server.tape.codes.base import Parity
from server.tape.errors import CannotPrepare
from server.tape.findings import place
from server.tape.formats import FORMATS, Formats
from server.tape.identify import decode
from server.tape.preparing import Pattern, Preparation, Prepared, legible
from server.tape.preparing import prepare as prepare_tape

_USUAL: Final = Preparation()

LONGEST_TITLE: Final = 48
"""Characters of a title that are lettered unasked: some two feet of tape."""


def _address(value: object) -> object:
    """An address as people write it: hexadecimal digits, octal ones behind 0o."""
    if not isinstance(value, str) or not value.strip():
        return None if isinstance(value, str) else value
    digits = value.strip().lower()
    octal = digits.startswith("0o")
    try:
        return int(digits.removeprefix("0o" if octal else "0x"), 8 if octal else 16)
    except ValueError:
        raise ValueError("give hexadecimal digits, or octal ones behind 0o") from None


Word = Annotated[Name | None, OrNone]
Whole = Annotated[int | None, OrNone]


class PreparationInput(Input):
    """The fields of a preparation, as a form, a program or a stored record gives them."""

    leader_frames: int = _USUAL.leader_frames
    trailer_frames: int = _USUAL.trailer_frames
    leader_pattern: Pattern = _USUAL.leader_pattern
    trailer_pattern: Pattern = _USUAL.trailer_pattern
    lettering: Name = ""
    levels: Whole = None
    code: Word = None
    parity: Annotated[Parity | None, OrNone] = None
    format: Word = None
    dialect: Word = None
    program_name: Word = None
    record_length: Whole = None
    load_address: Annotated[int | None, BeforeValidator(_address)] = None
    leave_entry_out: bool = False
    accept_damage: bool = False
    frames_per_reel: Whole = None


def of_words(words: Mapping[str, Any]) -> Preparation:
    """The preparation that `words` describe: field by field, as text or as JSON has it.

    Raises:
        Invalid: a field is unknown, or holds what is out of its bounds.
    """
    how = Preparation(**dict(PreparationInput.of(words)))
    try:
        how.check()
    except CannotPrepare as refused:
        raise invalid(refused) from None
    return how


def as_words(how: Preparation) -> dict[str, Any]:
    """The same as values that JSON has, by field; `of_words` makes it again."""
    return {
        name: str(value) if isinstance(value, str) else value for name, value in asdict(how).items()
    }


def preview(work: Work, sha256: str, how: Preparation, formats: Formats = FORMATS) -> Prepared:
    """What would be punched of an image: to be looked at, before anybody vouches for it.

    Raises:
        NotFound: the image is not held.
        Invalid: it cannot be prepared in that way; says why, and where on the tape.
    """
    levels = images.get(work, sha256).levels
    decoded = decode(images.frames(work, sha256), levels, formats)
    try:
        return prepare_tape(decoded, how, formats)
    except CannotPrepare as refused:
        raise invalid(refused) from None


def prepare(
    work: Work,
    sha256: str,
    how: Preparation,
    *,
    acknowledged: bool = False,
    formats: Formats = FORMATS,
) -> Prepared:
    """What is to be punched of an image; one that nothing vouches for must be `acknowledged`.

    Raises:
        NotFound: the image is not held.
        NotVerified: nothing vouches for it, and that was not acknowledged.
        Invalid: it cannot be prepared in that way; says why, and where on the tape.
    """
    downloads.require_vouched(images.get(work, sha256), acknowledged=acknowledged)
    return preview(work, sha256, how, formats)


def reel(
    work: Work,
    sha256: str,
    how: Preparation,
    number: int,
    *,
    acknowledged: bool = False,
    formats: Formats = FORMATS,
) -> Download:
    """The frames of one reel as a file. That they were given out is logged, to whom is not.

    Raises:
        NotFound: the image is not held, or there is no such reel.
        NotVerified: nothing vouches for it, and that was not acknowledged.
        Invalid: it cannot be prepared in that way; says why, and where on the tape.
    """
    prepared = prepare(work, sha256, how, acknowledged=acknowledged, formats=formats)
    if not 1 <= number <= len(prepared.reels):
        raise NotFound(
            f"There is no reel {number}; the program takes {len(prepared.reels)}.",
            where=f"reel {number}",
            mend=f"Ask for a reel from 1 to {len(prepared.reels)}.",
        )
    record = images.get(work, sha256)
    wanted = prepared.reels[number - 1]
    facts = {
        "verification": record.verification.word,
        "bytes": len(wanted.frames),
        "prepared": as_words(how),
        "reel": number,
    }
    work.afterwards.append(lambda later: downloads.log(later, record, facts))
    return Download(
        file_name=file_name_of(record, wanted.number, len(prepared.reels)),
        frames=wanted.frames,
        sha256=wanted.image.sha256,
        verified=record.verification.verified,
    )


def file_name_of(record: ImageRecord, number: int, reels: int) -> str:
    """A plain file name: that of the image, and which reel of how many."""
    stem = downloads.file_name_of(record).removesuffix(SUFFIX)
    part = f"-{number}-of-{reels}" if reels > 1 else ""
    return f"{stem}-prepared{part}{SUFFIX}"


def usual(record: ImageRecord, today: date) -> Preparation:
    """What is offered first: all as it is held, the leader lettered with title, number and date."""
    title = legible(record.title, record.levels)
    if len(title) > LONGEST_TITLE:
        title = title[: LONGEST_TITLE + 1].rpartition(" ")[0] or title[:LONGEST_TITLE]
    parts = (title, legible(record.accession or "", record.levels), today.isoformat())
    return Preparation(lettering=" ".join(filter(None, parts)))


def invalid(refused: CannotPrepare) -> Invalid:
    """The same refusal as one of the archive's, by the field that is at fault."""
    where = "" if refused.frame is None else place(refused.frame)
    sentence = _sentence(refused.what)
    return Invalid(
        sentence,
        where=where or refused.choice,
        mend=_sentence(refused.mend),
        fields={refused.choice: _sentence(refused.mend)} if refused.choice else None,
    )


def _sentence(words: str) -> str:
    return f"{words[:1].upper()}{words[1:]}."
