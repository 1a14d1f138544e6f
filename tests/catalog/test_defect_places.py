from datetime import date

from server.catalog import condition, defect_places, images, pictures, tapes
from server.catalog.condition_values import NewReport
from tests import factories


def test_the_newest_report_lays_its_defects_over_the_image(sqlite_engine):
    with factories.acting(sqlite_engine) as work:
        tape = factories.tape(work, accession_number="1978.4")
        receipt = factories.upload(work, factories.text_tape(leader=1400), tape="1978.4")
        for day, where in ((1, "9 mm"), (2, "3.4 m")):
            condition.log(work, NewReport.of({
                "tape": tape.accession_number, "checked_on": date(2026, 1, day), "state": "worn",
                "defects": [
                    {"kind": "crease", "severity": "slight", "position_mm": where,
                     "length_mm": "26 mm"},
                    {"kind": "curl", "severity": "slight"},
                    {"kind": "tear", "severity": "slight", "position_mm": "900 m"},
                ],
            }))  # fmt: skip
        image = images.get(work, receipt.image.sha256)
        (told,) = defect_places.of_image(work, image)

        assert (told.kind, told.trait, told.frame, told.frames) == ("crease", "shape", 1339, 10)
        assert told.told == "crease logged at 3.4 m (report of 2026-01-02)"
        assert ">crease</text>" in pictures.of(work, image).strip(1300, 60).svg

        factories.tape(work, accession_number="1978.5")
        tapes.attach(work, "1978.5", receipt.image.sha256)
        (told,) = defect_places.of_image(work, images.get(work, receipt.image.sha256))
        assert "tape 1978.4, report of" in told.told


def test_an_image_of_no_tape_has_no_defects(sqlite_engine):
    with factories.acting(sqlite_engine) as work:
        receipt = factories.upload(work, factories.text_tape())

        assert defect_places.of_image(work, receipt.image) == ()
