"""The key that signs sessions and links of a local instance: made once, readable by its owner only."""

import os
import secrets
from pathlib import Path


def secret_key(home: Path) -> str:
    path = home / "secret-key"
    try:
        file = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        return path.read_text()
    with os.fdopen(file, "w") as out:
        key = secrets.token_urlsafe(50)
        out.write(key)
    return key
