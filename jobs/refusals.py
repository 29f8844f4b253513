"""What the database refused, told to people: the field to look at, and a sentence."""

from django.apps import apps
from django.db import IntegrityError
from django.utils.translation import gettext as _


def refusal_of(error: IntegrityError) -> tuple[str, str, str] | None:
    """Return an error's code, the field to look at (empty: none alone) and a sentence.

    None when it is a fault of ours.
    """
    diagnosis = getattr(error.__cause__, "diag", None)
    constraint = getattr(diagnosis, "constraint_name", None) or ""
    for app in apps.get_app_configs():
        known = getattr(app, "constraint_sentences", {}).get(constraint)
        if known is not None:
            field, sentence = known
            return "invalid", field, str(sentence)
    match getattr(diagnosis, "sqlstate", None):
        case "23503":  # foreign key: what a row points at has gone, or is still pointed at
            return "in_use", "", _("Other records refer to this one, so it stays.")
        case "23505":  # unique
            return "conflict", "", _("There is such a record already.")
    return None
