"""What time and readers did to the tapes of the demo library, by the rules of recipes.toml."""

from collections.abc import Mapping, Sequence
from random import Random
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


def misread(frames: bytes, pass_: Mapping[str, int]) -> bytes:
    """`frames` as a poor pass read them: the same for the same `seed`.

    It begins `late` frames late, has one hole wrong in each of `flips` frames, loses `drops` and
    gives `doubles` twice, each in a place of its own.
    """
    random = Random(pass_["seed"])
    rest = list(frames[pass_.get("late", 0) :])
    counts = [pass_.get(name, 0) for name in ("flips", "drops", "doubles")]
    places = random.sample(range(len(rest)), sum(counts))
    flips, drops, doubles = (
        set(places[sum(counts[:at]) : sum(counts[: at + 1])]) for at in range(len(counts))
    )
    read = bytearray()
    for place, frame in enumerate(rest):
        if place in drops:
            continue
        read.append(frame ^ 1 << random.randrange(7) if place in flips else frame)
        read.extend([frame] if place in doubles else [])
    return bytes(read)


def _frame(frames: bytes, place: Mapping[str, Any]) -> int:
    """The frame that a rule means: by its number, or after some characters of a text's line."""
    if "frame" in place:
        return int(place["frame"])
    text = bytes(frame & SEVEN_BITS for frame in frames)
    line = text.index(f"\n{place['line']} ".encode("ascii"))
    after = place["after"].encode("ascii")
    return text.index(after, line) + len(after)
