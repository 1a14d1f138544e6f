"""The 8K class of BASIC interpreters for the 6502: the token table.

From memory throughout. The class names no port (no OUT, no INP) and keeps LOAD and SAVE among the
statements, so that all tokens from 90 on differ from those of the 8080. What its tapes begin with
is not known: the lead of the 8080 family, or lines and nothing before them, are both taken.
"""

from typing import Final

from server.tape.basic.dialect import Dialect, read_table

DIALECT_8K_6502: Final = Dialect(
    name="8k-6502",
    title="8K BASIC of the 6502 family",
    source="from memory",
    confidence=(
        "80 to 97: from memory, high",
        "98 to A2: from memory, medium to high, differs between versions",
        "A3 to C3: from memory, medium to high, shifts if a keyword was added before",
    ),
    may_be_bare=True,
    tokens=read_table("""
        80 END   81 FOR     82 NEXT   83 DATA    84 INPUT    85 DIM     86 READ    87 LET
        88 GOTO  89 RUN     8A IF     8B RESTORE 8C GOSUB    8D RETURN  8E REM     8F STOP
        90 ON    91 NULL    92 WAIT   93 LOAD    94 SAVE     95 DEF     96 POKE    97 PRINT
        98 CONT  99 LIST    9A CLEAR  9B NEW     9C TAB(     9D TO      9E FN      9F SPC(
        A0 THEN  A1 NOT     A2 STEP   A3 +       A4 -        A5 *       A6 /       A7 ^
        A8 AND   A9 OR      AA >      AB =       AC <        AD SGN     AE INT     AF ABS
        B0 USR   B1 FRE     B2 POS    B3 SQR     B4 RND      B5 LOG     B6 EXP     B7 COS
        B8 SIN   B9 TAN     BA ATN    BB PEEK    BC LEN      BD STR$    BE VAL     BF ASC
        C0 CHR$  C1 LEFT$   C2 RIGHT$ C3 MID$
    """),
)
