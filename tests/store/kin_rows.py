"""Rows of images that hold nothing but their number, for what hangs on images."""

import hashlib
from datetime import UTC, datetime
from typing import Any

NOW = datetime(2026, 3, 1, tzinfo=UTC)


def image_rows(first: int, last: int) -> list[dict[str, Any]]:
    """Rows of the table `image` with the ids `first` to `last`."""
    return [
        {
            "id": image_id,
            "sha256": hashlib.sha256(str(image_id).encode()).hexdigest(),
            "size": 1,
            "levels": 8,
            "created_at": NOW,
            "frames": b"\1",
        }
        for image_id in range(first, last + 1)
    ]
