"""Beginning a punching: what was prepared from an image is kept, reel by reel."""

from sqlalchemy import select
from sqlmodel import col

from server.catalog import events, images, preparing
from server.catalog.errors import Invalid
from server.catalog.events import EventType, ObjectKind
from server.catalog.held import image_id_of, known
from server.catalog.punching_records import record
from server.catalog.punching_values import PunchingRecord, Status
from server.catalog.work import Role, Work
from server.store.programs import Version
from server.store.punching import Punching
from server.tape.preparing import Preparation, Prepared, Reel


def begin(
    work: Work, sha256: str, how: Preparation, prepared: Prepared, version: int | None = None
) -> tuple[PunchingRecord, ...]:
    """Keep what was `prepared` from an image, as `how` says, to be punched: one for each reel.

    Where the same person has prepared the very same frames and not punched them yet, those are
    given again: a form that is sent twice begins one punching.

    Raises:
        NotFound: the image is not held.
        FixityFailed: the held frames are not those of its name.
        Invalid: the image is not the master of that version.
    """
    work.actor.require(Role.VOLUNTEER)
    image_id = image_id_of(work, sha256)
    images.own_frames(work, sha256)
    version_id = _version(work, image_id, version)
    waiting = _waiting(work, image_id, version_id, prepared)
    if waiting:
        return tuple(record(work, known(each.id)) for each in waiting)
    kept: list[Punching] = []
    for reel in prepared.reels:
        row = _row(work, reel, how, prepared, image_id=image_id, version_id=version_id)
        row.first_id = kept[0].id if kept else None
        work.session.add(row)
        work.session.flush()
        kept.append(row)
        _log_prepared(work, row, sha256)
    return tuple(record(work, known(each.id)) for each in kept)


def _row(
    work: Work,
    reel: Reel,
    how: Preparation,
    prepared: Prepared,
    *,
    image_id: int,
    version_id: int | None,
) -> Punching:
    return Punching(
        reel=reel.number,
        reels=len(prepared.reels),
        image_id=image_id,
        version_id=version_id,
        preparation=preparing.as_words(how),
        changes=list(prepared.changes),
        cautions=list(prepared.cautions),
        lettering=reel.lettering,
        format=prepared.format,
        sha256=reel.image.sha256,
        size=len(reel.frames),
        levels=reel.levels,
        data_start=reel.data.start,
        data_stop=reel.data.stop,
        status=Status.PREPARED,
        prepared_at=work.now,
        prepared_by_id=work.actor.person_id,
        updated_at=work.now,
        frames=reel.frames,
    )


def _version(work: Work, image_id: int, version: int | None) -> int | None:
    """The version that is punched: the one asked for, or the newest that the image is master of."""
    masters = work.session.scalars(
        select(col(Version.id)).where(col(Version.image_id) == image_id).order_by(col(Version.id))
    ).all()
    if version is None:
        return masters[-1] if masters else None
    if version not in masters:
        raise Invalid(
            f"The image is not the master of version {version}.",
            where="version",
            mend="Begin on the page of the program, or leave the version out.",
            fields={"version": "this image is not its master"},
        )
    return version


def _waiting(
    work: Work, image_id: int, version_id: int | None, prepared: Prepared
) -> list[Punching]:
    """Reels of these very frames that the same person has prepared, and nobody punched yet."""
    if work.actor.person_id is None:
        return []
    mine = work.session.scalars(
        select(Punching)
        .where(
            col(Punching.image_id) == image_id,
            col(Punching.version_id).is_(None)
            if version_id is None
            else col(Punching.version_id) == version_id,
            col(Punching.prepared_by_id) == work.actor.person_id,
            col(Punching.status) == Status.PREPARED,
            col(Punching.sha256).in_([reel.image.sha256 for reel in prepared.reels]),
        )
        .order_by(col(Punching.id).desc())
    ).all()
    newest = list(mine[: len(prepared.reels)])[::-1]
    wanted = [(reel.number, len(prepared.reels), reel.image.sha256) for reel in prepared.reels]
    found = [(each.reel, each.reels, each.sha256) for each in newest]
    return newest if found == wanted else []


def _log_prepared(work: Work, row: Punching, sha256: str) -> None:
    facts = {"image": sha256.lower(), "sha256": row.sha256, "frames": row.size, "reel": row.reel}
    events.record(
        work,
        EventType.CREATION,
        ObjectKind.PUNCHING,
        known(row.id),
        outcome=Status.PREPARED,
        detail="; ".join(row.changes),
        facts=facts,
    )
