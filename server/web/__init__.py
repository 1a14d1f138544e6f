"""The pages: thin routes by subject, each a context and a template."""

from typing import Final

from fastapi import APIRouter

from server.web import (
    accounts,
    code,
    compared,
    condition,
    downloads,
    families,
    fixity,
    help,  # noqa: A004 - the pages of help are called so
    home,
    images,
    labels,
    load_sheets,
    merged,
    merging,
    photos,
    preparing,
    programs,
    punching_steps,
    punchings,
    queues,
    search,
    search_more,
    strips,
    tape_forms,
    tapes,
    upload,
    vouching,
    work,
)

ROUTERS: Final[tuple[APIRouter, ...]] = (
    home.router,
    tape_forms.router,
    condition.router,
    photos.router,
    tapes.router,
    images.router,
    compared.router,
    code.router,
    strips.router,
    families.router,
    fixity.router,
    downloads.router,
    preparing.router,
    vouching.router,
    merging.router,
    merged.router,
    load_sheets.router,
    programs.router,
    punchings.router,
    punching_steps.router,
    labels.router,
    search.router,
    search_more.router,
    upload.router,
    accounts.router,
    queues.router,
    work.router,
    help.router,
)
"""In the order in which addresses are matched: /tapes/new before /tapes/{number}."""
