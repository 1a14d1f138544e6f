"""The frames of content for each reel: the held ones, or the same content written anew."""

from typing import NamedTuple

from server.tape.anatomy import BOOTSTRAP
from server.tape.codes import CODES
from server.tape.errors import CannotBuild, CannotPrepare
from server.tape.image import Image, Span, run_length
from server.tape.material import ENDS, Material
from server.tape.parts import PartKind
from server.tape.preparing.carried import carried
from server.tape.preparing.characters import in_code
from server.tape.preparing.dividing import PIECE, check_number, cut, divided
from server.tape.preparing.leader import pattern_frame
from server.tape.preparing.plan import Plan
from server.tape.preparing.proof import prove
from server.tape.view import View


class Contents(NamedTuple):
    """The frames of each reel, the content that was written anew if any, and frames re-punched.

    `flips` counts the frames whose parity was wrong and is made right; `first_stage` those kept
    in front of a first stage; `entry_address` is what is read of content written anew.
    """

    reels: tuple[bytes, ...]
    material: Material | None = None
    flips: int = 0
    first_stage: int = 0
    entry_address: int | None = None


def contents_of(plan: Plan, room: int | None) -> Contents:
    """The content of `plan`, no reel of it over `room` frames where that is given.

    Raises:
        CannotPrepare: the format or the code cannot carry it, or it cannot be divided.
    """
    if not plan.writes_anew:
        held = _held(plan)
        if room is None or len(held.reels[0]) <= room:
            return held
        if plan.is_bare:
            check_number(len(held.reels[0]), room)
            return held._replace(reels=_cut(held.reels[0], room))
    return _written(plan, room)


def _held(plan: Plan) -> Contents:
    source = plan.source
    image = source.image.turned(source.orientation)
    span = source.image.span_as_read(source.decoding.data, source.orientation)
    if not span.frames:
        raise CannotPrepare(
            "the tape is blank: it has no content to punch", mend="choose a tape that carries some"
        )
    kept = _before_first_stage(plan, image, span)
    frames, flips = _in_parity(plan, image, span)
    return Contents((image.frames[span.start - kept : span.start] + frames,), None, flips, kept)


def _before_first_stage(plan: Plan, image: Image, span: Span) -> int:
    """How many frames of one kind lead to a first stage: its keyed-in loader may need them."""
    staged = plan.source.decoding.format.startswith(BOOTSTRAP) or any(
        part.kind is PartKind.FIRST_STAGE for part in plan.source.parts
    )
    if not staged or not span.start or not image.frames[span.start - 1]:
        return 0
    return run_length(image.array[: span.start][::-1])


def _in_parity(plan: Plan, image: Image, span: Span) -> tuple[bytes, int]:
    """The frames in `span`, their characters in the parity of `plan`; and how many broke it."""
    frames = image.frames[slice(*span)]
    decoding = plan.source.decoding
    if plan.code is None or plan.parity is None or plan.parity is decoding.parity:
        return frames, 0
    characters = View(Image(frames, image.levels)).characters(plan.code)
    changed = bytearray(frames)
    written = CODES[plan.code].write(characters.text, plan.parity)
    for at, frame in zip(characters.frames.tolist(), written, strict=True):
        changed[at] = frame
    if characters.parity_errors.size and not plan.how.accept_damage:
        at = int(characters.parity_errors[0])
        raise CannotPrepare(
            f"{characters.parity_errors.size} frames break the parity of the held tape, the first "
            f"{at} frames into its content; in another parity that would no longer show",
            frame=_source_frame(plan, span.start + at),
            mend="keep the parity, mend the image first, or accept the damage",
            choice="accept_damage",
        )
    return bytes(changed), characters.parity_errors.size


def _source_frame(plan: Plan, frame: int) -> int:
    """The frame of the image as it was read that is `frame` of the turned one."""
    image, orientation = plan.source.image, plan.source.orientation
    return image.span_as_read(Span(frame, frame + 1), orientation).start


def _cut(frames: bytes, room: int) -> tuple[bytes, ...]:
    return tuple(frames[slice(*span)] for span in cut(frames, room))


def _written(plan: Plan, room: int | None) -> Contents:
    material = in_code(plan, carried(plan))
    try:
        frames = _write(plan, material)
        entry = prove(plan, material, [frames], _idle(plan))
        reels: tuple[bytes, ...] = (frames,)
        if room is not None and len(frames) > room:
            reels = _several(plan, material, frames, room)
        return Contents(reels, material, entry_address=entry)
    except CannotBuild as error:
        raise CannotPrepare(error.what, mend=error.mend) from error


def _several(plan: Plan, material: Material, frames: bytes, room: int) -> tuple[bytes, ...]:
    if not plan.format.divides:
        raise CannotPrepare(
            f"the content takes {len(frames)} frames, and a program in {plan.format.title} must be "
            "on one reel: blank tape ends it",
            mend="give the reel more frames, or punch the program as text, which can be divided",
            choice="frames_per_reel",
        )
    check_number(len(frames), room)
    if plan.is_bare:
        return _cut(frames, room)
    length = plan.how.record_length or PIECE
    reels = divided(material, length, room, lambda some: _write(plan, some))
    prove(plan, material, reels, _idle(plan))
    return tuple(reels)


def _idle(plan: Plan) -> bytes:
    return pattern_frame(plan, plan.how.trailer_pattern, "trailer")


def _write(plan: Plan, material: Material) -> bytes:
    return plan.format.write(material, plan.writing).frames[ENDS:-ENDS]
