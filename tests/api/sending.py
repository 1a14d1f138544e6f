"""Sending images to the API."""

import hashlib

from tests.api.conftest import V1


def sha(data):
    return hashlib.sha256(data).hexdigest()


def upload(client, data, name="reel.bin", headers=None, **fields):
    return client.post(
        f"{V1}/images", files={"file": (name, data)}, data=fields, headers=headers or {}
    )
