"""Programs of numerical control: blocks of words, each a letter and a number.

    blocks        what a block is, and how a text falls into blocks
    findings      blocks that are none, numbers out of order, a program without its end
    facts         tools, feeds, how far each axis goes
    recognition   in which code a tape is such a program, and how sure that is

Source: ISO 6983 (word address format, as EIA RS-274-D), from memory. The format is
`server.tape.formats.nc_program`.
"""
