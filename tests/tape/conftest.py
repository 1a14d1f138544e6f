"""Drawn examples have no deadline: on a machine that others share, time says nothing of them."""

from hypothesis import settings

settings.register_profile("shared machine", deadline=None)
settings.load_profile("shared machine")
