"""Images for the tests of the API, each a few lines of program of our own."""

LEADER = b"\x00" * 40

ORCHARD = [
    "10 REM APPLES IN AN ORCHARD",
    '20 PRINT "ROWS OF TREES";',
    "30 INPUT R",
    '40 PRINT "TREES IN A ROW";',
    "50 INPUT T",
    "60 LET A=R*T*120",
    '70 PRINT "APPLES THIS YEAR:";A',
    '80 IF A>9999 THEN PRINT "A GOOD YEAR <AT LAST> & MORE"',
    "90 END",
]


def even(characters: bytes) -> bytes:
    return bytes(each | (each.bit_count() & 1) << 7 for each in characters)


def text_tape(lines: list[str], leader: bytes = LEADER) -> bytes:
    """The lines in ISO 646 with even parity, between leader and trailer."""
    return leader + even("".join(f"{line}\r\n" for line in lines).encode()) + leader


def hex_record(address: int, data: bytes, kind: int = 0) -> str:
    body = bytes((len(data), address >> 8, address & 0xFF, kind)) + data
    return f":{(body + bytes([-sum(body) & 0xFF])).hex().upper()}"


def hex_tape(data: bytes = bytes(range(64)), start: int = 0x0100, *, entry: int = 0x0100) -> bytes:
    """`data` as an Intel hexadecimal tape in even parity, 16 bytes a record."""
    records = [hex_record(start + at, data[at : at + 16]) for at in range(0, len(data), 16)]
    records.append(hex_record(entry, b"", kind=1))
    return text_tape(records)
