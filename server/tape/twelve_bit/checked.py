"""Which programs of a tape close their checksum; each has one, for all of its frames."""

from server.tape.image import Span
from server.tape.self_checking import Checked
from server.tape.twelve_bit.frames import tell_apart
from server.tape.twelve_bit.pairs import body_of
from server.tape.view import View


def checked_programs(view: View) -> Checked:
    """The programs of `view` that begin with an origin: those that close, and the others."""
    sound: list[Span] = []
    faults: list[Span] = []
    for program in tell_apart(view).programs:
        if program.begins_with_origin:
            body = body_of(program)
            span = Span(int(program.at[0]), int(program.at[-1]) + 1)
            (sound if body.closes and not body.lone.size else faults).append(span)
    return Checked(tuple(sound), tuple(faults))
