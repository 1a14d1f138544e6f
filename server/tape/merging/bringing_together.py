"""From readings to the merged image with its evidence: the steps, in their order."""

from collections import Counter
from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import Final

from server.tape.errors import TapeError
from server.tape.formats import FORMATS, Formats
from server.tape.formats.unrecognised import Unrecognised
from server.tape.image import LEVELS, Image, Orientation
from server.tape.lettering import find_lettering, without_lettering
from server.tape.merging.closing import Closing
from server.tape.merging.judging import Verdicts, judge
from server.tape.merging.laying import lay
from server.tape.merging.merged import Merged, Vote
from server.tape.merging.telling import tell
from server.tape.merging.trying import Trial
from server.tape.merging.voting import vote
from server.tape.merging.vouching import Vouching
from server.tape.ranking import Identified, rank
from server.tape.self_checking import SelfChecking
from server.tape.view import View

READINGS: Final = range(2, 21)
"""How many readings may be merged."""

MOST_FRAMES: Final = 10_000_000
"""Frames of all readings together: twenty, each four times as long as a roll. So many take half a
gigabyte, and twice that where nearly all of them are blank."""

MOST_CHECKED: Final = 24_000_000
"""Frames that are checked in all for one merge, half to close records, half to vouch for them:
some ten seconds."""

_NOTHING_SETTLED: Final[Mapping[int, Vote]] = MappingProxyType({})
_MASKS: Final = {
    levels: bytes(byte & ((1 << levels) - 1) for byte in range(256)) for levels in LEVELS
}


def merge(
    images: Sequence[Image],
    settled: Mapping[int, Vote] = _NOTHING_SETTLED,
    formats: Formats = FORMATS,
) -> Merged:
    """What `images`, readings of one tape, hold together, with the evidence for each frame.

    `settled` gives, by column, the frame that an archivist saw there, None for none at all; the
    columns are those of the disputes of the same readings in the same or any other order.
    Neither the image nor the columns depend on the order of the readings.

    Raises:
        TapeError: there are too few readings or too many, one is blank or not like the others,
            they are too long together, or `settled` names what cannot be.
    """
    _refuse_unfit(images)
    levels = _levels(images)
    alike = [Image(each.frames.translate(_MASKS[levels]), levels) for each in images]
    identified: list[Identified] = []

    def upright(image: Image) -> Orientation | None:
        identified.append(_identified(image, formats))
        return None if identified[0].format == Unrecognised.name else identified[0].orientation

    laid = lay(alike, levels, upright)
    outcome = vote(laid.table, levels)
    verdicts = judge(outcome, laid.table.votes, settled, levels)
    form = formats[identified[0].format]
    if isinstance(form, SelfChecking):
        _settle_by_checksums(verdicts, form, levels)
    return tell(alike, laid, outcome.rates, verdicts, levels)


def _settle_by_checksums(verdicts: Verdicts, form: SelfChecking, levels: int) -> None:
    """Let the checksums of the tape choose, and then vouch for what was chosen."""
    trial = Trial(verdicts, form.checker(View(Image(verdicts.frames(), levels))), levels)
    trial.left = MOST_CHECKED // 2
    closing = Closing(trial)
    closing.close()
    trial.left = MOST_CHECKED // 2
    Vouching(trial, closing.ceiling).vouch()


def _refuse_unfit(images: Sequence[Image]) -> None:
    if len(images) not in READINGS:
        raise TapeError(
            f"{len(images)} readings cannot be merged",
            mend=f"choose {READINGS[0]} to {READINGS[-1]} readings of one tape",
        )
    total = sum(map(len, images))
    if total > MOST_FRAMES:
        raise TapeError(
            f"the readings have {total:,} frames together, and {MOST_FRAMES:,} is the most",
            mend="merge fewer of them, or cut them into the tapes that they hold",
        )
    for number, image in enumerate(images, 1):
        if not image.data_span().frames:
            raise TapeError(
                f"reading {number} holds nothing but leader: nothing tells where it belongs",
                mend="leave it out, or read the tape again",
            )


def _levels(images: Sequence[Image]) -> int:
    """The levels of most readings, the more of two that are as common."""
    counts = Counter(image.levels for image in images)
    return max(counts, key=lambda levels: (counts[levels], levels))


def _identified(image: Image, formats: Formats) -> Identified:
    """What `image` most likely is, and how it lies."""
    bare = without_lettering(image, find_lettering(image))
    return rank((View(bare, way) for way in Orientation), formats)[0]
