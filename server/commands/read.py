"""`read`: a tape over a serial line into a file, and from there to the archive."""

import hashlib
import sys
from argparse import Namespace
from collections.abc import Iterable
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from server.commands.at_the_machine import (
    BROKEN_OFF,
    STOPPED,
    archive_of,
    at_the_machine,
    line_settings,
    outbox_of,
    rate_of,
    send_what_waits,
    tell,
)
from server.commands.console import DONE, complain, say
from server.station.archive import Archive
from server.station.cautions import AT_THE_READER, FIRST
from server.station.clock import RealClock
from server.station.errors import NotPossible
from server.station.joining import Joined
from server.station.leave import require_leave
from server.station.line import open_line
from server.station.marks import Fault
from server.station.outbox import Outbox
from server.station.part_file import Parts
from server.station.parts_joined import join_parts
from server.station.progress import Progress
from server.station.reading import Ending, Pass, ReadingPlan, TapeReader
from server.station.stopping import Stop
from server.tape.estimate import length_mm

_MOST_FAULTS: Final = 20


@at_the_machine
def run(args: Namespace) -> int:
    """Read, keep, and send."""
    parts = Parts(Path(args.file))
    parts.require_free()
    _require_sense(args, parts)
    named = archive_of(args)
    archive = None if args.no_send else named
    join_parts(parts)
    if named is not None and not args.finish:
        _ask_leave(args, named)
    if args.finish:
        return _keep(args, parts, archive, ())
    done, part = _one_pass(args, parts)
    if done.ending is Ending.SILENT:
        complain("Nothing came in.", "Start the reader; look at cable, port, rate and --patience.")
        return BROKEN_OFF
    joins = join_parts(parts, args.from_frame)
    _say_pass(done, joins[-1] if joins else None)
    faults = [fault.frame for fault in done.faults]
    if part != parts.first and part.exists():
        return _say_apart(parts)
    if not done.whole:
        return _say_unfinished(done, parts)
    return _keep(args, parts, archive, faults)


def _require_sense(args: Namespace, parts: Parts) -> None:
    found = parts.found()
    if found and not (args.resume or args.finish):
        raise NotPossible(
            f"{found[0]} holds what an earlier pass read.",
            mend="Go on with --resume, take it as it is with --finish, or give another name.",
        )
    if not found and (args.resume or args.finish):
        raise NotPossible(
            f"There is no {parts.first} to go on with.", mend="Read without --resume or --finish."
        )
    if args.from_frame is not None and not args.resume:
        raise NotPossible("--from-frame goes with --resume.", mend="Give both, or neither.")
    if args.read_back is not None and (args.tape or args.levels):
        raise NotPossible(
            "A new tape that is read back has no number yet, and its levels are known.",
            mend="Leave --tape and --levels away.",
        )
    if args.resume and args.frames and args.from_frame is None:
        raise NotPossible(
            "A count of frames needs to know where the tape is fed again.",
            mend="Give --from-frame as well, or leave --frames away.",
        )


def _ask_leave(args: Namespace, archive: Archive) -> None:
    """Ask whether the tape may be run, before anything moves; a new copy needs no leave."""
    if args.read_back is not None:
        return
    if not args.tape:
        complain("No tape is named with --tape: nobody can be asked whether it may be run.")
        return
    say(*require_leave(archive, args.tape, unasked=args.unasked), to=sys.stderr)


def _one_pass(args: Namespace, parts: Parts) -> tuple[Pass, Path]:
    """Read once; what became of it, and the part that it is in."""
    settings, clock = line_settings(args), RealClock()
    rate = rate_of(args, settings)
    frames = max(0, args.frames - (args.from_frame or 0))
    line = open_line(settings)
    try:
        say(settings.in_words, FIRST, *AT_THE_READER, to=sys.stderr)
        with parts.begin() as part, Stop() as stop:
            reader = TapeReader(
                line,
                ReadingPlan(
                    reader_control=args.reader_control,
                    frames=frames,
                    trailer=args.trailer,
                    quiet=args.quiet,
                    patience=args.patience,
                ),
                part,
                clock=clock,
                stop=stop,
                progress=Progress(sys.stderr, clock, total=frames or None, rate=rate),
            )
            return reader.read(), part.path
    finally:
        line.close()


def _say_pass(done: Pass, join: Joined | None) -> None:
    say(f"{_measured(done.frames)} came in; the pass ended: {done.ending}.")
    if join is not None:
        say(
            f"The tape was fed again from frame {join.start:,}: {join.overlap:,} frames overlap, "
            f"{join.added:,} were added."
        )
        for frame in join.differing[:_MOST_FAULTS]:
            say(f"  frame {_place(frame)}: the passes differ; the earlier one is kept")
    for fault in done.faults[:_MOST_FAULTS]:
        say(_fault_line(fault, join))
    if len(done.faults) > _MOST_FAULTS:
        say(f"  and {len(done.faults) - _MOST_FAULTS:,} more damaged frames")


def _fault_line(fault: Fault, join: Joined | None) -> str:
    at = fault.frame + (join.start if join else 0)
    return f"  frame {_place(at)}: {fault.kind}; kept as it came"


def _say_unfinished(done: Pass, parts: Parts) -> int:
    held = parts.first.stat().st_size
    if done.lost is not None:
        tell(done.lost)
    elif done.ending is Ending.QUIET:
        complain("The line went quiet, but that was no end of a tape.")
    complain(
        f"{parts.first} holds {_measured(held)}.",
        "Go on with --resume, the tape fed again from about a foot before "
        f"(frame {max(0, held - 120):,}); or take it as it is with --finish.",
    )
    return STOPPED if done.ending is Ending.HAND else BROKEN_OFF


def _say_apart(parts: Parts) -> int:
    complain(
        "The passes do not join: no overlap was found, or it fits in several places.",
        f"All are kept: {', '.join(map(str, parts.found()))}.",
        "Feed the tape again from further back, say where with --from-frame, and --resume;",
        "or upload each as a reading of its own, and merge them there.",
    )
    return BROKEN_OFF


def _keep(args: Namespace, parts: Parts, archive: Archive | None, faults: Iterable[int]) -> int:
    """Name the file, and send it; a crash before the name is taken leaves it to --finish."""
    frames = parts.first.read_bytes()
    outbox = None if archive is None else _put_in_outbox(args, parts, frames, faults)
    parts.become_whole()
    for path in parts.found():
        complain(f"{path} joined nothing, and is left as it is.")
    say(f"{parts.target}: {_measured(len(frames))}, SHA-256 {hashlib.sha256(frames).hexdigest()}")
    if archive is None or outbox is None:
        return DONE
    return send_what_waits(outbox, archive)


def _put_in_outbox(args: Namespace, parts: Parts, frames: bytes, faults: Iterable[int]) -> Outbox:
    # The time is the file's own, so that the reading has one name however often it is put there.
    read = datetime.fromtimestamp(int(parts.first.stat().st_mtime), UTC)
    outbox = outbox_of(args)
    outbox.put(
        frames,
        parts.target.name,
        read,
        read_on=read.astimezone().date().isoformat(),
        tape=args.tape,
        levels=args.levels,
        reader=args.reader,
        punching=args.read_back,
        line_faults=tuple(faults),
    )
    return outbox


def _measured(frames: int) -> str:
    return f"{frames:,} frame{'' if frames == 1 else 's'} ({length_mm(frames):,.1f} mm)"


def _place(frame: int) -> str:
    return f"{frame:,} ({length_mm(frame):,.1f} mm)"
