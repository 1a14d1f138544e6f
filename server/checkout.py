"""What stands beside the code in a checkout, and is in no package: Feedhole runs from one."""

from pathlib import Path
from typing import Final

ROOT: Final = Path(__file__).resolve().parents[1]

MIGRATIONS: Final = ROOT / "migrations"
TEMPLATES: Final = ROOT / "templates"
STATIC: Final = ROOT / "static"
SEED_DATA: Final = ROOT / "seed_data"


def missing() -> tuple[str, ...]:
    """The folders that should be here and are not."""
    needed = (MIGRATIONS, TEMPLATES, STATIC, SEED_DATA)
    return tuple(each.name for each in needed if not each.is_dir())
