"""A tape whose every frame is known, and three poor passes of it through a reader."""

from typing import Final

import numpy as np

from server.tape.codes.base import Parity
from server.tape.formats.text import Text, TextContent
from server.tape.image import Image, Orientation
from tests.readings import flipped
from tests.tape.merging import channel

TITLE: Final = "Bell buoy"
LISTING: Final = (
    "10 REM BELL BUOY OFF ORRISBY POINT",
    "20 REM HOW OFTEN IT RINGS FOR A HEIGHT OF SWELL",
    '30 INPUT "HEIGHT OF THE SWELL, METRES";H',
    '40 INPUT "SECONDS FROM CREST TO CREST";T',
    "50 IF T<1 THEN 40",
    "60 S=360*H/T/T",
    "70 IF S<6 THEN 130",
    "80 N=INT(120/T+.5)",
    '90 PRINT "IT LEANS";INT(S);"DEGREES AND RINGS";N;"TIMES A MINUTE"',
    "100 FOR I=1 TO N",
    '110 PRINT "DING ";',
    "120 NEXT I:PRINT:GOTO 30",
    '130 PRINT "IT SLEEPS, AND SO MAY YOU"',
    "140 GOTO 30",
)

_LEADER: Final = 90
_TRAILER: Final = 260
"""More blanks than the station takes for the end of a tape."""

PUNCHED: Final = Text().build(
    TextContent(LISTING, parity=Parity.EVEN, leader=_LEADER, trailer=_TRAILER)
)
CONTENT: Final = PUNCHED.frames[_LEADER:-_TRAILER]
"""What was punched between leader and trailer: the truth that the day must come to."""

_WORN: Final = PUNCHED.frames.index(CONTENT[len(CONTENT) // 2 :]) + 1
RIGHT: Final = PUNCHED.frames[_WORN]
"""The frame at a worn place, where each pass sees another two of three channels wrong."""

_CHANNEL: Final = channel.Rates(flips=0.004, drops=0.0015, doubles=0.0015)
_SEED: Final = 1982


def passes() -> tuple[bytes, bytes, bytes]:
    """What three readers give: the first whole, the second fed its end first, the third late."""
    rng = np.random.default_rng(_SEED)
    worn = (_worn(1, 2), _worn(1, 5), _worn(2, 5))
    first, second, third = (
        channel.read(Image(frames, PUNCHED.levels), _CHANNEL, rng) for frames in worn
    )
    backwards = Image(second.frames + bytes(_LEADER), second.levels).turned(Orientation.REVERSED)
    return first.frames, backwards.frames + bytes(_TRAILER), third.frames[_LEADER // 2 :]


def _worn(*channels: int) -> bytes:
    frames = PUNCHED.frames
    for each in channels:
        frames = flipped(frames, _WORN, channel=each)
    return frames
