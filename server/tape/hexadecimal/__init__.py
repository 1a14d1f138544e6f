"""What the hexadecimal record formats share: finding records, mending them, loading them.

    records         every whole record of a text at once, by array operations
    failures        the records that fail: what was found, what was due
    checksums       how records check themselves
    equations       what that says of single digits
    mending         what one doubtful byte must have been
    repairs         what may have stood where a record fails
    outside         what stands between records
    memory          what records load
    reading         records with their frames, and what a format makes of them
    end_findings    where loading ends
    places          findings about stretches of a text, and how many are said
    recognition     how sure it is that a text is made of records
    program         what is built: memory and entry address, to characters on a tape

The way from a view to a decoding is `server.tape.formats.hex_decoding`.
"""
