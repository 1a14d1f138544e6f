"""The 4K class of BASIC interpreters for the 8080: the token table.

From memory throughout. The class had no command to save to cassette or tape; a program of it is
met as an image of memory, or saved by a monitor, so it may lack the lead and the name.
"""

from typing import Final

from server.tape.basic.dialect import Dialect, read_table

DIALECT_4K_8080: Final = Dialect(
    name="4k-8080",
    title="4K BASIC of the 8080 family",
    source="from memory",
    confidence=(
        "80 to 8F: from memory, high",
        "90 to 97: from memory, medium",
        "98 to A5: from memory, medium",
    ),
    may_be_bare=True,
    tokens=read_table("""
        80 END   81 FOR     82 NEXT   83 DATA    84 INPUT    85 DIM     86 READ    87 LET
        88 GOTO  89 RUN     8A IF     8B RESTORE 8C GOSUB    8D RETURN  8E REM     8F STOP
        90 PRINT 91 LIST    92 CLEAR  93 NEW     94 TAB(     95 TO      96 THEN    97 STEP
        98 +     99 -       9A *      9B /       9C >        9D =       9E <       9F SGN
        A0 INT   A1 ABS     A2 USR    A3 SQR     A4 RND      A5 SIN
    """),
)
