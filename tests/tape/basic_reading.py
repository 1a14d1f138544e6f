"""What crunched BASIC makes of frames, in short."""

from server.tape.formats.crunched_basic import CrunchedBasic
from server.tape.image import Image, Orientation
from server.tape.view import View
from tests.tape.basic_tapes import PROGRAM

BASIC = CrunchedBasic()
LEADER = 12


def view(frames, orientation=Orientation.AS_READ):
    return View(Image(frames), orientation)


def parse(frames):
    return BASIC.parse(view(frames))


def confidence(frames, orientation=Orientation.AS_READ):
    evidence = BASIC.recognise(view(frames, orientation))
    return evidence.confidence if evidence else 0.0


def texts(frames):
    return [line.text for line in parse(frames).listing]


def told(frames):
    return [(each.kind, each.frame, each.frames) for each in parse(frames).findings]


def line_start(index, leader=LEADER):
    return leader + 4 + sum(5 + len(text) for _, text in PROGRAM[:index])
