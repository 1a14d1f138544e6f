"""Dialects of crunched BASIC that a club keeps as files beside its archive."""

import tomllib
from pathlib import Path
from typing import Final

from server.catalog.errors import Invalid
from server.tape.basic import DIALECTS
from server.tape.basic.dialect import Dialect
from server.tape.formats import FORMATS, Formats, formats_with
from server.tape.formats.crunched_basic import CrunchedBasic

_SETTING: Final = "FEEDHOLE_DIALECTS"


def formats_of(folder: Path | None) -> Formats:
    """The formats, with the dialects that the TOML files in `folder` describe.

    Raises:
        Invalid: the folder cannot be read, or one of its files is no dialect.
    """
    if folder is None:
        return FORMATS
    known: dict[str, Dialect] = {}
    for path in _files(folder):
        dialect = _read(path)
        if dialect.name in DIALECTS or dialect.name in known:
            raise _refused(
                path, f"there is a dialect {dialect.name} already", "Give it a name of its own."
            )
        known[dialect.name] = dialect
    return formats_with(known)


def dialect_of(formats: Formats, name: str | None) -> Dialect | None:
    """The dialect of that name; None where there is none among `formats`."""
    crunched = formats[CrunchedBasic.name]
    assert isinstance(crunched, CrunchedBasic)
    return None if name is None else crunched.dialects.get(name)


def _files(folder: Path) -> list[Path]:
    try:
        return sorted(path for path in folder.iterdir() if path.suffix == ".toml")
    except OSError as error:
        raise _refused(
            folder, error.strerror or str(error), f"Set {_SETTING} to a folder, or to nothing."
        ) from None


def _read(path: Path) -> Dialect:
    try:
        with path.open("rb") as file:
            return Dialect.from_table(tomllib.load(file))
    except OSError as error:
        raise _refused(path, error.strerror or str(error), "See who may read the file.") from None
    except ValueError as error:
        # What is no TOML, or not even text, comes here too.
        mend = "See DEVELOPERS.md, To add a dialect of BASIC."
        raise _refused(path, str(error), mend) from None


def _refused(path: Path, why: str, mend: str) -> Invalid:
    what = f"{path}: {why}."
    return Invalid(what, where=str(path), mend=mend, fields={"dialects": what})
