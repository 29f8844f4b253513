"""What stands in a PDF, as somebody would copy it out."""

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
