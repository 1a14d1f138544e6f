"""Preparing an image that the archive holds, for the command `prepare`."""

from argparse import Namespace

from server.catalog import preparing
from server.catalog.dialects import formats_of
from server.catalog.errors import NotVerified
from server.commands.archive import plainly, working
from server.commands.prepare import finish, preparation_of
from server.settings import Settings
from server.tape.preparing import Preparation, Prepared


@plainly
def run(args: Namespace) -> int:
    """Prepare the image `args.what`, and write its reels where `args.output` says."""
    how = preparation_of(args)
    return finish(args, _prepared(args, how))


def _prepared(args: Namespace, how: Preparation) -> Prepared:
    formats = formats_of(Settings().dialects)
    with working(writes=False) as work:
        if not args.output:
            return preparing.preview(work, args.what, how, formats)
        try:
            return preparing.prepare(
                work, args.what, how, acknowledged=args.unverified, formats=formats
            )
        except NotVerified as error:
            raise NotVerified(
                error.what,
                where=error.where,
                mend="Take it all the same with --unverified, and say so on the tape.",
            ) from None
