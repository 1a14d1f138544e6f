"""Which part of a representation a request asks for: RFC 9110, section 14."""

import re

from server.statuses import NO_SUCH_RANGE, Refused
from server.tape.image import Span

_SPEC = re.compile(r"[ \t]*(\d*)-(\d*)[ \t]*")


def requested(value: str, size: int) -> Span | None:
    """The bytes that the Range header `value` asks for, of `size` in all.

    None means the whole: the unit is not bytes, the value has no meaning, or it asks for
    several ranges, which a server may answer with the whole (section 14.2).

    Raises:
        Refused: the range begins after the last byte.
    """
    unit, _, ranges = value.partition("=")
    spec = _SPEC.fullmatch(ranges)
    if unit.strip().lower() != "bytes" or spec is None or spec[0].strip() == "-":
        return None
    if spec[1] and spec[2] and int(spec[2]) < int(spec[1]):
        return None
    span = _span(spec[1], spec[2], size)
    if not span.frames:
        raise Refused(
            NO_SUCH_RANGE,
            f"The image has {size} bytes; the range asked for holds none of them.",
            where="Range",
            mend=f"Ask for bytes from 0 to {size - 1}.",
            headers={"Content-Range": f"bytes */{size}"},
        )
    return span


def _span(first: str, last: str, size: int) -> Span:
    if not first:
        return Span(max(0, size - int(last)), size)
    stop = min(int(last) + 1, size) if last else size
    return Span(min(int(first), stop), stop)
