"""Every table, so that the metadata is whole wherever one of them is used."""

from server.store.condition import ConditionReport, RunPermission
from server.store.events import Event
from server.store.families import FamilyDecision
from server.store.forms import NormalFormRow
from server.store.images import Decoding, ImageRow, Reading
from server.store.kin import Fingerprint, Kinship
from server.store.load_sheets import LoadSheet, LoadSheetText
from server.store.loaded import LoadedRun
from server.store.loans import Loan, TapeRequest
from server.store.merging import MergedReading, MergedSource
from server.store.people import (
    ApiToken,
    Invitation,
    Passkey,
    PasskeyChallenge,
    Person,
    SignIn,
    SignInFailure,
)
from server.store.photos import Photo, PhotoFile
from server.store.places import Movement, Place, Whereabouts
from server.store.programs import Program, ProgramLink, Version
from server.store.punching import Punching, ReadBack
from server.store.rights import ClosedImage, Deaccession, NumberGiven
from server.store.row import Row
from server.store.shelf_checks import ShelfCheck, ShelfCheckItem
from server.store.spelling import Spelling, SpellingRun
from server.store.tapes import Tape
from server.store.terms import Term
from server.store.texts import ListingText, RecordText
from server.store.verification import Verification
from server.store.work_items import WorkItem

METADATA = Row.metadata

__all__ = [
    "METADATA",
    "ApiToken",
    "ClosedImage",
    "ConditionReport",
    "Deaccession",
    "Decoding",
    "Event",
    "FamilyDecision",
    "Fingerprint",
    "ImageRow",
    "Invitation",
    "Kinship",
    "ListingText",
    "LoadSheet",
    "LoadSheetText",
    "LoadedRun",
    "Loan",
    "MergedReading",
    "MergedSource",
    "Movement",
    "NormalFormRow",
    "NumberGiven",
    "Passkey",
    "PasskeyChallenge",
    "Person",
    "Photo",
    "PhotoFile",
    "Place",
    "Program",
    "ProgramLink",
    "Punching",
    "ReadBack",
    "Reading",
    "RecordText",
    "Row",
    "RunPermission",
    "ShelfCheck",
    "ShelfCheckItem",
    "SignIn",
    "SignInFailure",
    "Spelling",
    "SpellingRun",
    "Tape",
    "TapeRequest",
    "Term",
    "Verification",
    "Version",
    "Whereabouts",
    "WorkItem",
]
