"""Preparing an image that the archive holds, for the command `prepare`."""

from argparse import Namespace

from server.catalog import preparing
from server.catalog.dialects import formats_of
from server.catalog.errors import NotVerified
from server.commands.archive import plainly, refuse_unverified, working
from server.commands.prepare import finish, preparation_of
from server.settings import Settings
from server.tape.preparing import Preparation, Prepared


@plainly
def run(args: Namespace) -> int:
    """Prepare the image `args.what`, and write its reels where `args.output` says."""
    try:
        prepared = _prepared(args, preparation_of(args))
    except NotVerified as error:
        return refuse_unverified(error)
    return finish(args, prepared)


def _prepared(args: Namespace, how: Preparation) -> Prepared:
    formats = formats_of(Settings().dialects)
    with working(writes=False) as work:
        if not args.output:
            return preparing.preview(work, args.what, how, formats)
        return preparing.prepare(
            work, args.what, how, acknowledged=args.unverified, formats=formats
        )
