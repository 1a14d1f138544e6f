"""Feedhole: an archive catalog for punched program tapes."""
