"""JSON v1: one module a subject, the same catalog calls as the pages. `mount` serves it."""

from server.api.application import mount

__all__ = ["mount"]
