"""Pictures that are drawn for tests, with what a camera writes into them."""

import io
from typing import Any

from PIL import Image

GPS = 0x8825  # EXIF 2.3: where the photo was taken
OWNER = "Wren Tolliver's phone"


def picture(
    kind: str = "JPEG", size: tuple[int, int] = (64, 48), *, colour: Any = (200, 40, 40), orientation: int = 1
) -> bytes:
    """Return a picture with a place, a camera's owner, a comment and an orientation in it."""
    image = Image.new("RGB", size, colour)
    image.paste((20, 20, 220), (0, 0, size[0] // 2, size[1] // 2))  # the upper left quarter is blue
    exif = image.getexif()
    exif[0x0112] = orientation
    exif[0x010F] = OWNER
    exif[GPS] = {1: "N", 2: (35.0, 12.0, 30.0), 3: "W", 4: (92.0, 24.0, 0.0)}
    out = io.BytesIO()
    more: dict[str, Any] = {"comment": OWNER} if kind == "JPEG" else {}
    image.save(out, kind, exif=exif, **more)
    return out.getvalue()
