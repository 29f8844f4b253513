"""Erasing names in what crews noted at the end of the work."""

from collections.abc import Collection
from typing import Any

from calcs.models import Closing
from jobs.erasing import naming
from jobs.models.people import ERASED_PERSON


def erase_fitters(names: Collection[str]) -> None:
    """Blank who checked a gas line where that was one of some people, licence and all, in earlier states too."""
    said = naming(names, "gas_checked_by")
    events: Any = Closing._meta.get_field("events").related_model
    Closing.objects.filter(said).update(gas_checked_by=ERASED_PERSON)
    events.objects.filter(said).update(gas_checked_by=ERASED_PERSON)
