"""A preparation in words: as a form, a program or a stored record gives it, and back."""

from collections.abc import Mapping
from dataclasses import asdict
from typing import Annotated, Any, Final

from pydantic import BeforeValidator, Field

from server.catalog.errors import Invalid, as_sentence
from server.catalog.inputs import Input, Name, OrNone
from server.tape.codes.base import Parity
from server.tape.errors import CannotPrepare
from server.tape.findings import place
from server.tape.preparing import Pattern, Preparation

_USUAL: Final = Preparation()


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
    """The fields of a preparation; those that are left out stay as the image is held."""

    leader_frames: Annotated[
        int, Field(description="Frames of leader, the lettering not counted.")
    ] = _USUAL.leader_frames
    trailer_frames: Annotated[int, Field(description="Frames of trailer.")] = _USUAL.trailer_frames
    leader_pattern: Annotated[Pattern, Field(description="What the leader is punched with.")] = (
        _USUAL.leader_pattern
    )
    trailer_pattern: Annotated[Pattern, Field(description="What the trailer is punched with.")] = (
        _USUAL.trailer_pattern
    )
    lettering: Annotated[Name, Field(description="Letters in the leader, to be read by eye.")] = ""
    levels: Annotated[Whole, Field(description="Code holes across, 5 to 8.")] = None
    code: Annotated[Word, Field(description="Name of the character code.")] = None
    parity: Annotated[
        Parity | None, OrNone, Field(description="Rule that channel 8 follows in ISO 646.")
    ] = None
    format: Annotated[Word, Field(description="Name of the format.")] = None
    dialect: Annotated[Word, Field(description="Dialect of a crunched program.")] = None
    program_name: Annotated[
        Word, Field(description="One-character name of a crunched program.")
    ] = None
    record_length: Annotated[
        Whole, Field(description="Most bytes in a record or block that is written anew.")
    ] = None
    load_address: Annotated[
        int | None,
        BeforeValidator(_address),
        Field(
            description="Where frames without addresses are loaded, or a crunched program stands. "
            "Text is hexadecimal, or octal behind 0o."
        ),
    ] = None
    leave_entry_out: Annotated[
        bool, Field(description="Let go of an entry address that has no place in the format.")
    ] = False
    accept_damage: Annotated[
        bool, Field(description="Write damaged content anew, under checks that will pass.")
    ] = False
    frames_per_reel: Annotated[
        Whole, Field(description="Most frames on a reel, with all that is on it.")
    ] = None


def of_words(words: Mapping[str, Any]) -> Preparation:
    """The preparation that `words` describe: field by field, as text or as JSON has it.

    Raises:
        Invalid: a field is unknown, or holds what is out of its bounds.
    """
    return of_input(PreparationInput.of(words))


def of_input(given: PreparationInput) -> Preparation:
    """The preparation that `given` describes; fields of other kinds are left aside.

    Raises:
        Invalid: a field is out of its bounds.
    """
    how = Preparation(**{name: getattr(given, name) for name in PreparationInput.model_fields})
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


def invalid(refused: CannotPrepare) -> Invalid:
    """The same refusal as one of the archive's, by the field that is at fault."""
    where = "" if refused.frame is None else place(refused.frame)
    sentence = as_sentence(refused.what)
    return Invalid(
        sentence,
        where=where or refused.choice,
        mend=as_sentence(refused.mend),
        fields={refused.choice: as_sentence(refused.mend)} if refused.choice else None,
    )
