"""What stands in a PDF, as somebody would copy it out."""

from collections.abc import Iterator
from typing import Any

import pypdfium2


def pages_of(pdf: bytes) -> list[str]:
    """Return the text of each page."""
    document = pypdfium2.PdfDocument(pdf)
    try:
        return [" ".join(page.get_textpage().get_text_bounded().split()) for page in document]
    finally:
        document.close()


def text_of(pdf: bytes) -> str:
    """Return the text of all pages."""
    return " ".join(pages_of(pdf))


def any_text(value: Any) -> Iterator[str]:
    """Every word of a paper's data that people read."""
    if isinstance(value, dict):
        for key, each in value.items():
            if key not in ("kind", "key", "svg", "turned", "fill", "name", "date"):
                yield from any_text(each)
    elif isinstance(value, list | tuple):
        for each in value:
            yield from any_text(each)
    elif isinstance(value, str) and value:
        yield value
