"""Text in the five-level code of the telegraph, for the one old tape of the demo library.

Source: ITU-T S.1, international telegraph alphabet no. 2, from memory.
"""

LETTERS, FIGURES = 0x1F, 0x1B

_LETTERS = dict(
    zip(
        "ABCDEFGHIJKLMNOPQRSTUVWXYZ",
        bytes.fromhex("03190E09010D1A14060B0F121C0C1816170A0510071E131D1511"),
        strict=True,
    )
)
_FIGURES = dict(
    zip(
        "1234567890-?:().,'=/+",
        bytes.fromhex("1713010A10150706181603190E0F121C0C051E1D11"),
        strict=True,
    )
)
_EITHER = {" ": 0x04, "\r": 0x08, "\n": 0x02}


def frames(text: str) -> bytes:
    """The frames of `text`, with a shift wherever letters and figures change."""
    punched = bytearray([LETTERS])
    shift = LETTERS
    for character in text:
        if character in _EITHER:
            punched.append(_EITHER[character])
            continue
        table, wanted = (_LETTERS, LETTERS) if character in _LETTERS else (_FIGURES, FIGURES)
        if wanted != shift:
            punched.append(wanted)
            shift = wanted
        punched.append(table[character])
    return bytes(punched)
