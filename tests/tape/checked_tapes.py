"""What the checksums of a format say of frames."""

from server.tape.formats import FORMATS
from server.tape.image import Image
from server.tape.self_checking import Checked, SelfChecking
from server.tape.view import View


def checked(frames: bytes, name: str) -> Checked:
    """The sound records and the faults of a tape in the format of that name."""
    view = View(Image(frames))
    form = FORMATS[name]
    assert isinstance(form, SelfChecking)
    return form.checker(view)(view)
