"""The 8K class of BASIC interpreters for the 8080: the token table.

From memory throughout; only the order of the keywords agrees with a published list for a later
relative, which inserts more. The later half of the table shifts where a version had one keyword
more or less before it.
"""

from typing import Final

from server.tape.basic.dialect import Dialect, read_table

DIALECT_8K_8080: Final = Dialect(
    name="8k-8080",
    title="8K BASIC of the 8080 family",
    source="from memory",
    confidence=(
        "80 to 8F: from memory, high",
        "90 to 9D: from memory, medium to high, differs between versions",
        "9E to C5: from memory, medium to high, shifts if a keyword was added before",
    ),
    tokens=read_table("""
        80 END   81 FOR     82 NEXT   83 DATA    84 INPUT    85 DIM     86 READ    87 LET
        88 GOTO  89 RUN     8A IF     8B RESTORE 8C GOSUB    8D RETURN  8E REM     8F STOP
        90 OUT   91 ON      92 NULL   93 WAIT    94 DEF      95 POKE    96 PRINT   97 CONT
        98 LIST  99 CLEAR   9A CLOAD  9B CSAVE   9C NEW      9D TAB(    9E TO      9F FN
        A0 SPC(  A1 THEN    A2 NOT    A3 STEP    A4 +        A5 -       A6 *       A7 /
        A8 ^     A9 AND     AA OR     AB >       AC =        AD <       AE SGN     AF INT
        B0 ABS   B1 USR     B2 FRE    B3 INP     B4 POS      B5 SQR     B6 RND     B7 LOG
        B8 EXP   B9 COS     BA SIN    BB TAN     BC ATN      BD PEEK    BE LEN     BF STR$
        C0 VAL   C1 ASC     C2 CHR$   C3 LEFT$   C4 RIGHT$   C5 MID$
    """),
)
