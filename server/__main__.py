"""`python -m server`: the command line."""

import sys

from server.cli import main

sys.exit(main())
