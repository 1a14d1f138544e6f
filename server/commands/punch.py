"""`punch`: frames from a file or an archive to a punch, asked for first, counted to the last."""

import hashlib
import sys
from argparse import Namespace
from pathlib import Path

from server.commands.at_the_machine import (
    BROKEN_OFF,
    STOPPED,
    archive_of,
    at_the_machine,
    line_settings,
    rate_of,
    tell,
)
from server.commands.console import DONE, REFUSED, complain, say
from server.station.archive import Fetched, fetch, require_digest
from server.station.cautions import AT_THE_PUNCH, FIRST
from server.station.clock import RealClock
from server.station.errors import NotPossible
from server.station.line import open_line
from server.station.progress import Progress, duration
from server.station.punching import Punched, PunchEnding, PunchPlan, TapePuncher
from server.station.stopping import Stop
from server.tape.estimate import length_mm, seconds

_YES = "yes"


@at_the_machine
def run(args: Namespace) -> int:
    """Check the frames, ask, punch, and say exactly how many went out."""
    settings, clock = line_settings(args), RealClock()
    rate = rate_of(args, settings)
    fetched = _frames_of(args)
    plan = _plan(args, fetched.frames, rate)
    line = open_line(settings)
    try:
        say(settings.in_words, *_meant(fetched, plan), FIRST, *AT_THE_PUNCH, to=sys.stderr)
        if not args.yes and not _agreed():
            complain("Nothing was punched.")
            return REFUSED
        progress = Progress(sys.stderr, clock, total=len(plan.to_send), rate=rate)
        with Stop() as stop:
            done = TapePuncher(line, plan, clock=clock, stop=stop, progress=progress).punch()
    finally:
        line.close()
    return _say_done(done, plan)


def _frames_of(args: Namespace) -> Fetched:
    if args.source.startswith(("http://", "https://")):
        return fetch(args.source, archive_of(args), args.sha256)
    frames = Path(args.source).read_bytes()
    if not frames:
        raise NotPossible(f"{args.source} holds no frames.", mend="Give the image of a tape.")
    if args.sha256:
        require_digest(frames, args.sha256)
    return Fetched(frames, hashlib.sha256(frames).hexdigest(), "")


def _plan(args: Namespace, frames: bytes, rate: float) -> PunchPlan:
    stated = args.overlap is not None or args.fresh_leader is not None
    if args.from_frame and not stated:
        raise NotPossible(
            "Going on within a tape needs to be told how the pieces meet.",
            mend="Give --overlap FRAMES to punch the last ones again, or --fresh-leader FRAMES.",
        )
    return PunchPlan(
        frames=frames,
        rate=rate,
        first=args.from_frame,
        overlap=args.overlap or 0,
        fresh_leader=args.fresh_leader or 0,
        patience=args.patience,
    )


def _meant(fetched: Fetched, plan: PunchPlan) -> list[str]:
    number = len(plan.to_send)
    time = f"{duration(seconds(number, plan.rate))} at {plan.rate:,.1f} frames a second"
    said = [
        f"SHA-256 {fetched.sha256}",
        f"{number:,} frames, {length_mm(number):,.1f} mm, {time}",
    ]
    if plan.first:
        said.append(
            f"going on with frame {plan.first:,} of {len(plan.frames):,}, "
            f"{plan.overlap:,} before it again, {plan.fresh_leader:,} blanks first"
        )
    if fetched.verification:
        said.append(f"verification: {fetched.verification}")
    return said


def _agreed() -> bool:
    if not sys.stdin.isatty():
        raise NotPossible(
            "Nobody can be asked whether to start.", mend="Run it on a terminal, or say --yes."
        )
    sys.stderr.write(f"Is the punch ready, and shall it start? Type {_YES}: ")
    sys.stderr.flush()
    return sys.stdin.readline().strip().lower() == _YES


def _say_done(done: Punched, plan: PunchPlan) -> int:
    whole = len(plan.to_send)
    say(f"{done.sent:,} of {whole:,} frames have gone out ({length_mm(done.sent):,.1f} mm).")
    if done.strays:
        say(f"The punch sent {done.strays:,} bytes that mean nothing here.")
    if done.ending is PunchEnding.DONE:
        return DONE
    if done.lost is not None:
        tell(done.lost)
    if done.perhaps:
        complain(f"Up to {done.perhaps:,} more may have gone.")
    complain(
        f"It ended early: {done.ending}. The next is frame {plan.frame_after(done.sent):,}.",
        "Look at the tape for the last whole frame; then go on with --from-frame, and",
        "--overlap or --fresh-leader.",
    )
    return STOPPED if done.ending is PunchEnding.HAND else BROKEN_OFF
