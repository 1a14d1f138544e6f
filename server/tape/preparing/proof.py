"""Whether what was written anew says the same: read again, before anything is punched."""

from collections.abc import Iterator, Sequence

from server.tape.basic.crunch import crunch
from server.tape.basic.dialect import Dialect
from server.tape.basic.links import HEADER
from server.tape.basic.program import LEAD
from server.tape.basic.uncrunch import uncrunch
from server.tape.codes import CODES
from server.tape.errors import CannotPrepare
from server.tape.image import Image
from server.tape.listing import Line
from server.tape.material import Kind, Material, joined
from server.tape.normal_form import normal_lines
from server.tape.preparing.carried import material_of
from server.tape.preparing.characters import has_one_case
from server.tape.preparing.plan import Crunching, Plan
from server.tape.view import View

_AROUND = 16


def prove(plan: Plan, material: Material, reels: Sequence[bytes], idle: bytes) -> int | None:
    """The entry address that `reels`, the frames of content written anew, are read to have.

    It is that of `material`; but where that has none, some formats cannot but say 0. `idle` is
    the frame that stands around the reels.

    Raises:
        CannotPrepare: the format cannot carry part of what is there.
    """
    if plan.crunches:
        _prove_crunched(plan, material)
    elif plan.code is not None and material.typed:
        _prove_typed(plan, material, reels)
        _prove_typed_in(plan)
    else:
        return _prove_loaded(plan, material, reels, idle)
    return None


def _prove_typed(plan: Plan, material: Material, reels: Sequence[bytes]) -> None:
    assert plan.code is not None
    read = "".join(_text(plan, reel) for reel in reels)
    typed = [*material.typed]
    back = read.replace("\r\n", "\n").split("\n")[:-1]
    if has_one_case(plan.code):
        typed, back = list(map(str.upper, typed)), list(map(str.upper, back))
    _same(plan, typed == back, "the text")


def _prove_typed_in(plan: Plan) -> None:
    """Refuse a crunched program whose listing, typed in, would be stored otherwise."""
    decoding = plan.source.decoding
    if not isinstance(plan.held, Crunching) or plan.how.accept_damage:
        return
    dialect = plan.held.dialects[decoding.dialect or ""]
    for number, tokens in _stored_lines(decoding.content):
        if crunch(uncrunch(tokens, dialect).text, dialect) != tokens:
            raise CannotPrepare(
                f"line {number}, typed into {dialect.name}, would not be stored as it is held",
                mend="punch the program crunched, as it is held; it may be of another dialect",
            )


def _stored_lines(content: bytes) -> Iterator[tuple[int, bytes]]:
    """The number and the tokens of each line of a crunched program; a link is a line's length."""
    at = len(LEAD) + 1 if content.startswith(LEAD) else 0
    while length := int.from_bytes(content[at : at + 2], "little"):
        line = content[at : at + length]
        yield int.from_bytes(line[2:HEADER], "little"), line[HEADER:-1]
        at += length


def _text(plan: Plan, frames: bytes) -> str:
    assert plan.code is not None
    image = Image(frames, plan.levels)
    return CODES[plan.code].read(image.array, plan.levels).text.decode("latin-1")


def _prove_loaded(
    plan: Plan, material: Material, reels: Sequence[bytes], idle: bytes
) -> int | None:
    ends = idle * _AROUND
    decodings = [plan.format.parse(View(Image(ends + reel + ends, plan.levels))) for reel in reels]
    kind = material.kind if material.kind in plan.format.offers else Kind.FRAMES
    back = joined([material_of(each, kind) for each in decodings])
    if kind is Kind.FRAMES:
        _same(plan, back.data == material.only_run, "the frames")
    else:
        _same(plan, back.memory == joined([material]).memory, "what is loaded")
    said, entry = decodings[-1].entry_address, material.entry_address
    if said != entry and not (entry is None and said == 0):
        raise CannotPrepare(
            f"{plan.format.title} has no way to say the entry address {entry or 0:04X}",
            mend="choose another format, or leave the entry address out and key it in",
            choice="leave_entry_out",
        )
    return said


def _prove_crunched(plan: Plan, material: Material) -> None:
    dialect = plan.dialect
    assert isinstance(plan.format, Crunching)
    assert dialect is not None
    held = plan.source.decoding.dialect if plan.held is plan.format else None
    before = plan.format.dialects.get(held or "")
    for number, text in material.numbered:
        if before is not None and before is not dialect:
            _same_words(number, text, before, dialect)
        back = uncrunch(crunch(text, dialect), dialect).text
        lines = (Line(f"{number} {each}", 0, 0, number) for each in (text, back))
        typed, listed = normal_lines(lines, "basic")
        _same(plan, typed == listed, f"line {number}")


def _same_words(number: int, text: str, before: Dialect, dialect: Dialect) -> None:
    was = [before.tokens[each] for each in crunch(text, before) if each in before.tokens]
    now = [dialect.tokens[each] for each in crunch(text, dialect) if each in dialect.tokens]
    if was != now:
        raise CannotPrepare(
            f"line {number} has the keywords {' '.join(was) or 'none'} in {before.name}, and "
            f"{' '.join(now) or 'none'} in {dialect.name}",
            mend="choose the dialect that the program was crunched in, or punch it as text",
            choice="dialect",
        )


def _same(plan: Plan, holds: bool, what: str) -> None:
    if not holds:
        raise CannotPrepare(
            f"{what} would not be read from a tape in {plan.format.title} as it is held",
            mend="choose another format or code, or punch the held frames",
        )
