"""A comparison of what was read back, as JSON keeps it, and in sentences."""

from collections.abc import Iterator
from typing import Any

from server.tape.image import FRAME_PITCH_MM, Orientation
from server.tape.read_back import ChannelFault, Comparison, End, Kind, Place

_TURNED = {
    Orientation.REVERSED: "The tape was read from its end.",
    Orientation.MIRRORED: "The tape lay upside down in the reader.",
    Orientation.REVERSED_MIRRORED: "The tape was read from its end and upside down.",
}


def as_words(comparison: Comparison) -> dict[str, Any]:
    """The comparison as an object of JSON: frames in hexadecimal, the rest by field name."""
    return {
        "same": comparison.same,
        "orientation": comparison.orientation,
        "leader": comparison.leader._asdict(),
        "trailer": comparison.trailer._asdict(),
        "compared": comparison.compared,
        "differing": comparison.differing,
        "total": comparison.total,
        "channels": [each._asdict() for each in comparison.channels],
        "places": [
            {**each._asdict(), "prepared": each.prepared.hex(), "read": each.read.hex()}
            for each in comparison.places
        ],
    }


def of_words(words: dict[str, Any]) -> Comparison:
    """The comparison that `as_words` made an object of."""
    return Comparison(
        same=words["same"],
        orientation=Orientation(words["orientation"]),
        leader=End(**words["leader"]),
        trailer=End(**words["trailer"]),
        compared=words["compared"],
        differing=words["differing"],
        places=tuple(_place(each) for each in words["places"]),
        total=words["total"],
        channels=tuple(ChannelFault(**each) for each in words["channels"]),
    )


def _place(words: dict[str, Any]) -> Place:
    frames = {name: bytes.fromhex(words[name]) for name in ("prepared", "read")}
    return Place(**{**words, **frames, "kind": Kind(words["kind"])})


def sentences(comparison: Comparison) -> tuple[str, ...]:
    """The comparison in plain words: what was compared, what came of it, where to look."""
    return tuple(_sentences(comparison))


def _sentences(comparison: Comparison) -> Iterator[str]:
    compared = f"{comparison.compared:,} frames were compared"
    if comparison.same:
        yield f"{compared}, and all are as prepared."
    elif comparison.differing is None:
        yield "What was read has too little in common with what was prepared: is it this tape?"
    else:
        count = comparison.differing
        differ = "differs" if count == 1 else "differ"
        yield f"{compared}; {_frames(count)} {differ}, in {_places(comparison.total)}."
    if comparison.orientation in _TURNED:
        yield _TURNED[comparison.orientation]
    yield from _ends(comparison)
    yield from map(_channel, comparison.channels)


def _ends(comparison: Comparison) -> Iterator[str]:
    for name, end in (("leader", comparison.leader), ("trailer", comparison.trailer)):
        if end.read < end.prepared:
            yield f"Of the {name}, {end.read:,} of {end.prepared:,} frames were read."
        if end.extra:
            yield f"{_frames(end.extra)} of idle tape were read beyond the {name}."


def _channel(fault: ChannelFault) -> str:
    told = []
    if fault.lacking:
        told.append(f"lacks a hole in {_frames(fault.lacking)}")
    if fault.extra:
        told.append(f"has a hole too many in {_frames(fault.extra)}")
    return f"Channel {fault.channel} {' and '.join(told)}."


def place_in_words(place: Place) -> str:
    """What is the matter at one place, and how far along the prepared tape."""
    at = f"at frame {place.frame:,} ({place.frame * FRAME_PITCH_MM:,.2f} mm)"
    if place.kind is Kind.CHANGED:
        return f"{_frames(place.frames)} changed {at}"
    if place.kind is Kind.MISSING:
        return f"{_frames(place.frames)} missing {at}"
    return f"{_frames(place.frames)} too many before frame {place.frame:,}"


def _frames(count: int) -> str:
    return f"{count:,} frame{'' if count == 1 else 's'}"


def _places(count: int) -> str:
    return f"{count:,} place{'' if count == 1 else 's'}"
