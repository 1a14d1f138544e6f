"""The machine code of an image that is held, decoded anew whenever somebody asks for it."""

from server.catalog import images
from server.catalog.errors import Invalid, NotFound
from server.catalog.work import Work
from server.tape.cpu import PROCESSORS
from server.tape.cpu.notation import Notation
from server.tape.formats import FORMATS, Formats
from server.tape.identify import decode
from server.tape.program_view import MachineCode, machine_code, processors_for


def of(
    work: Work,
    sha256: str,
    processor: str = "",
    notation: str = "",
    formats: Formats = FORMATS,
) -> MachineCode:
    """What the image loads, as the code of `processor`, in `notation`.

    Where they are empty, the processor is chosen by evidence, the notation is the machine's.

    Raises:
        NotFound: the image is not held, or it loads nothing.
        Invalid: there is no such processor or notation, or its memory has other cells.
    """
    image = images.get(work, sha256)
    fields = _faults(processor, notation)
    if fields:
        raise Invalid(
            " ".join(fields.values()),
            where=", ".join(fields),
            mend="Leave it empty, and it is chosen by evidence.",
            fields=fields,
        )
    decoded = decode(images.frames(work, sha256), image.levels, formats)
    chosen = Notation(notation) if notation else None
    try:
        code = machine_code(decoded, processor or None, chosen)
    except KeyError:
        raise _other_cells(processor) from None
    if code is None:
        raise NotFound(
            f"Image {sha256[:12]} loads nothing into memory.",
            where=sha256,
            mend="Read its listing.",
        )
    return code


def _faults(processor: str, notation: str) -> dict[str, str]:
    faults = {}
    if processor and processor not in PROCESSORS:
        names = ", ".join(PROCESSORS)
        faults["processor"] = f"No processor {processor[:40]} is known; there are {names}."
    if notation and notation not in list(Notation):
        names = ", ".join(Notation)
        faults["notation"] = f"No notation {notation[:40]} is known; there are {names}."
    return faults


def _other_cells(processor: str) -> Invalid:
    cells = PROCESSORS[processor].cell_bytes
    others = " or ".join(processors_for(3 - cells))
    what = f"The {processor} has cells of another size than the tape loads."
    return Invalid(what, where="processor", mend=f"Choose {others}.", fields={"processor": what})
