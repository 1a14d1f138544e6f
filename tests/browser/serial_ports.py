"""A browser's serial port without hardware: a scripted fake of `navigator.serial` stands in.

It has the streams and the errors that the Web Serial API (a WICG draft) describes; what it does is
in serial_port.js.
"""

import json
from pathlib import Path

from playwright.sync_api import Page

FAKE = (Path(__file__).parent / "serial_port.js").read_text(encoding="utf-8")


def with_machine(page: Page, **script: object) -> None:
    """Give the pages that follow a port with a machine that does what `script` says."""
    page.add_init_script(f"window.serialScript = {json.dumps(script)};\n{FAKE}")


def heard(page: Page) -> bytes:
    """What the page has sent to the machine."""
    return bytes(page.evaluate("window.machine.heard"))
