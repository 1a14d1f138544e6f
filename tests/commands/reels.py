"""The tape that the commands are given."""

import hashlib

from tests.api.tapes_to_read import ORCHARD, text_tape

TAPE = text_tape(ORCHARD)
SHA = hashlib.sha256(TAPE).hexdigest()
