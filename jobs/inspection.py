"""What is looked at of a home as a whole when it is inspected: a closed list, in the order of a walk."""

import tomllib
from dataclasses import dataclass
from pathlib import Path

from django.utils import translation
from django.utils.translation import gettext as _


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """One thing to look at: what it is called, what to look for, and where that is from.

    ``source`` says so where there is none, or only memory.
    """

    code: str
    words: str
    look: str
    source: str


def _load() -> dict[str, Item]:
    path = Path(__file__).with_suffix(".toml")
    return {code: Item(code=code, **entry) for code, entry in tomllib.loads(path.read_text()).items()}


ITEMS: dict[str, Item] = _load()


def problem_with(code: str) -> str:
    """Say why a finding can't be about an item; nothing where it can, or is about none."""
    if not code or code in ITEMS:
        return ""
    return _("There is no such item; give one of: {items}.").format(items=", ".join(ITEMS))


def item_words(code: str) -> str:
    """Return what an item is called, in the reader's language; the code where it is no item any more."""
    item = ITEMS.get(code)
    return _(item.words) if item else code


def items_in(language: str) -> list[dict[str, str]]:
    """Return the list in a language, as a phone takes it along."""
    with translation.override(language):
        return [
            {"code": item.code, "words": _(item.words), "look": _(item.look), "source": _(item.source)}
            for item in ITEMS.values()
        ]
