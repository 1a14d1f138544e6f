"""`serve` and `migrate`: running the archive."""

from argparse import Namespace

import uvicorn

from server.app import create_app
from server.commands.archive import engine, plainly
from server.commands.console import DONE, REFUSED, complain, say
from server.settings import Settings
from server.store.migration import current, downgrade
from server.store.migration import migrate as bring_up_to_date


@plainly
def serve(args: Namespace) -> int:
    """Serve the archive until stopped."""
    settings = Settings()
    uvicorn.run(create_app(settings), host=args.host, port=args.port, server_header=False)
    return DONE


@plainly
def migrate(args: Namespace) -> int:
    """Bring the database up to this release, or back down to a revision."""
    if args.down is not None and not args.yes:
        complain(
            f"Going down to {args.down} takes out of the database whatever came later.",
            "Back it up first; then say --yes.",
        )
        return REFUSED
    with engine() as made:
        if args.down is None:
            bring_up_to_date(made)
        else:
            downgrade(made, args.down)
        say(f"The database is at revision {current(made) or 'base, which is empty'}.")
    return DONE
