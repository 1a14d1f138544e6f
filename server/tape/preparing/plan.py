"""What the prepared tape is to be: its format, code, parity and levels, chosen and checked."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Protocol, runtime_checkable

from server.tape.anatomy import BOOTSTRAP
from server.tape.basic.dialect import Dialect
from server.tape.codes import CODES
from server.tape.codes.base import Parity
from server.tape.errors import CannotPrepare
from server.tape.formats import Formats
from server.tape.formats.base import Format
from server.tape.identify import Decoded
from server.tape.material import Kind, Pattern, Writing
from server.tape.preparing.preparation import Preparation

_WITHOUT_CHANNEL_8 = (Parity.NONE, Parity.SPACE)


@runtime_checkable
class Crunching(Protocol):
    """A format that stores BASIC as one of its dialects does."""

    @property
    def dialects(self) -> Mapping[str, Dialect]:
        """Those that it knows, the usual one first."""
        ...


@dataclass(frozen=True, slots=True)
class Plan:
    """How `source`, held in the format `held`, becomes a tape in `format`.

    `code` and `parity` are None where the format is no characters.
    """

    source: Decoded
    how: Preparation
    formats: Formats
    held: Format[Any]
    format: Format[Any]
    code: str | None
    parity: Parity | None
    levels: int

    @property
    def writes_anew(self) -> bool:
        """Whether something is asked for that the held frames themselves cannot give."""
        how, decoding = self.how, self.source.decoding
        return (
            self.format is not self.held
            or self.code != decoding.code
            or how.record_length is not None
            or how.program_name is not None
            or how.leave_entry_out
            or (how.dialect is not None and how.dialect != decoding.dialect)
            or (how.load_address is not None and self.crunches)
        )

    @property
    def crunches(self) -> bool:
        """Whether the tape holds BASIC as the interpreter stores it."""
        return isinstance(self.format, Crunching)

    @property
    def is_bare(self) -> bool:
        """Whether the frames say nothing but what is loaded: no addresses, records or lines."""
        return set(self.format.offers) == {Kind.FRAMES}

    def pattern(self, asked: Pattern) -> Pattern:
        """The pattern asked for; where that is the usual one, the one of the format."""
        return self.format.idle[0] if asked is Pattern.USUAL else asked

    @property
    def dialect(self) -> Dialect | None:
        """That of a crunched program: the one asked for, else the held one, else the usual one.

        Raises:
            CannotPrepare: there is none of that name.
        """
        if not isinstance(self.format, Crunching):
            return None
        known = self.format.dialects
        held = self.source.decoding.dialect if self.format is self.held else None
        name = self.how.dialect or held or next(iter(known))
        if name not in known:
            raise CannotPrepare(
                f"there is no dialect {name!r}",
                mend=f"choose one of {', '.join(known)}",
                choice="dialect",
            )
        return known[name]

    @property
    def writing(self) -> Writing:
        """The same for a format that writes the content anew."""
        dialect = self.dialect
        rule = self.source.decoding.dialect if self.format is self.held else None
        return Writing(
            code=self.code,
            parity=self.parity or Parity.NONE,
            record_length=self.how.record_length,
            dialect=dialect.name if dialect else rule,
            start_address=self.how.load_address if self.crunches else None,
        )


def plan_of(source: Decoded, how: Preparation, formats: Formats) -> Plan:
    """The plan for `source`.

    Raises:
        CannotPrepare: there is no such format, or it cannot be punched in that code, parity or
            so few levels.
    """
    held = formats[source.decoding.format.removeprefix(BOOTSTRAP)]
    wanted = held if how.format is None else formats.get(how.format)
    if wanted is None or (wanted is not held and not is_target(wanted)):
        raise CannotPrepare(
            f"there is no format {how.format!r} to punch",
            mend=f"choose one of {', '.join(targets(formats))}",
            choice="format",
        )
    code = _code(wanted, source, how)
    levels = _levels(wanted, held, code, source, how)
    plan = Plan(
        source, how, formats, held, wanted, code, _parity(code, levels, source, how), levels
    )
    if how.dialect is not None and not plan.crunches:
        raise CannotPrepare(
            f"{wanted.title} has no dialects",
            mend="leave the dialect out, or prepare a crunched program",
            choice="dialect",
        )
    return plan


def is_target(known: Format[Any]) -> bool:
    """Whether a tape of another format can be prepared in this one."""
    return bool(set(known.takes) - {Kind.FRAMES})


def targets(formats: Formats, offered: Iterable[Kind] | None = None) -> list[str]:
    """The formats that can be written anew, of those kinds of content if any are given."""
    kinds = set(Kind) if offered is None else set(offered)
    return [
        name for name, each in formats.items() if is_target(each) and kinds.intersection(each.takes)
    ]


def targets_of(held: Format[Any], formats: Formats) -> list[str]:
    """The formats that a tape held in this one may be prepared in, the same included.

    Frames without addresses may be given one, and are memory then.
    """
    addressed = {Kind.MEMORY} if Kind.FRAMES in held.offers else set()
    return targets(formats, {*held.offers, *addressed})


def dialects_of(known: Format[Any]) -> tuple[str, ...]:
    """The dialects that a format crunches BASIC in; none for the others."""
    return tuple(known.dialects) if isinstance(known, Crunching) else ()


def _code(wanted: Format[Any], source: Decoded, how: Preparation) -> str | None:
    held = source.decoding.code
    if how.code is None:
        if held in wanted.codes:
            return held
        return wanted.codes[0] if wanted.codes else None
    if how.code in wanted.codes:
        return how.code
    if not wanted.codes:
        raise CannotPrepare(
            f"{wanted.title} is punched as bytes, not in a character code",
            mend="leave the code out",
            choice="code",
        )
    raise CannotPrepare(
        f"{wanted.title} is not punched in {how.code}",
        mend=f"choose one of {', '.join(wanted.codes)}",
        choice="code",
    )


def _levels(
    wanted: Format[Any], held: Format[Any], code: str | None, source: Decoded, how: Preparation
) -> int:
    """The levels asked for, else those of the held tape where they will do."""
    if how.levels is not None:
        return how.levels
    now = source.image.levels
    if code is None:
        return now if wanted is held else 8
    of_code = CODES[code].levels
    return now if now in of_code or code == source.decoding.code else max(of_code)


def _parity(code: str | None, levels: int, source: Decoded, how: Preparation) -> Parity | None:
    if code is None:
        if how.parity is not None:
            raise CannotPrepare(
                "the tape carries bytes, which have no parity",
                mend="leave the parity out",
                choice="parity",
            )
        return None
    possible = CODES[code].parities
    if levels < max(CODES[code].levels):
        possible = tuple(each for each in possible if each in _WITHOUT_CHANNEL_8)
    if not possible:
        raise CannotPrepare(
            f"{CODES[code].title} needs a tape of {max(CODES[code].levels)} levels",
            mend=f"choose {max(CODES[code].levels)} levels, or leave them out",
            choice="levels",
        )
    if how.parity is not None and how.parity not in possible:
        raise CannotPrepare(
            f"a tape of {levels} levels in {CODES[code].title} has no {how.parity} parity",
            mend=f"choose {' or '.join(possible)}",
            choice="parity",
        )
    held = source.decoding.parity if source.decoding.code == code else None
    kept = held if held in possible else None
    return (
        how.parity
        or kept
        or (Parity.NONE if Parity.NONE in possible and levels < 8 else possible[0])
    )
