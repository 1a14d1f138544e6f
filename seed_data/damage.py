"""What time and readers did to the tapes of the demo library, by the rules of recipes.toml."""

from collections.abc import Mapping, Sequence
from typing import Any

RUB_OUT = 0xFF
SEVEN_BITS = 0x7F


def rubbed_out(frames: bytes, places: Sequence[Mapping[str, Any]]) -> bytes:
    """`frames` with rub-outs added at each of `places`, as left by a typist's mistakes."""
    for place in places:
        at = _frame(frames, place)
        frames = frames[:at] + bytes([RUB_OUT]) * place["frames"] + frames[at:]
    return frames


def damaged(frames: bytes, damage: Sequence[Mapping[str, Any]]) -> bytes:
    """`frames` after each of `damage` in turn: a changed hole, lost frames, a tear."""
    for each in damage:
        at = _frame(frames, each)
        if "flip" in each:
            hole = 1 << (each["flip"] - 1)
            frames = frames[:at] + bytes([frames[at] ^ hole]) + frames[at + 1 :]
        elif "drop" in each:
            frames = frames[:at] + frames[at + each["drop"] :]
        elif each.get("cut"):
            frames = frames[:at]
        else:
            raise ValueError(f"no such damage: {dict(each)}")
    return frames


def _frame(frames: bytes, place: Mapping[str, Any]) -> int:
    """The frame that a rule means: by its number, or after some characters of a text's line."""
    if "frame" in place:
        return int(place["frame"])
    text = bytes(frame & SEVEN_BITS for frame in frames)
    line = text.index(f"\n{place['line']} ".encode("ascii"))
    after = place["after"].encode("ascii")
    return text.index(after, line) + len(after)
