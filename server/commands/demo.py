"""`demo`: the library of an invented club, loaded and served on this machine."""

from argparse import Namespace

import uvicorn

from server import demo
from server.app import create_app
from server.catalog.published import PASSWORD
from server.commands.archive import plainly
from server.commands.console import DONE, say
from server.store.engine import make_engine
from server.store.migration import migrate

HOST = "127.0.0.1"
"""The password is known to everybody, so the demonstration is for this machine alone."""


@plainly
def run(args: Namespace) -> int:
    """Migrate, load the library if it is not there, and serve it until stopped."""
    settings = demo.settings_for(args.database)
    engine = make_engine(settings)
    try:
        migrate(engine)
        loaded = demo.load(engine)
    finally:
        engine.dispose()
    say("The demonstration is loaded." if loaded else "The demonstration was loaded before.")
    if args.no_serve:
        return DONE
    say(
        f"Open http://{HOST}:{args.port} in a browser; Ctrl-C stops it.",
        f"Sign in as odile, aksel or maud with the password: {PASSWORD}",
    )
    uvicorn.run(create_app(settings), host=HOST, port=args.port, log_level="warning")
    return DONE
