"""Kinds of calculations as people call them."""

from django import template

from calcs.survey_page.progress import KIND_WORDS

register = template.Library()


@register.filter
def kind_words(kind: str) -> str:
    """Say a kind in the reader's language; a kind that has no words yet stays as it is."""
    return str(KIND_WORDS.get(kind, kind))
