"""Erasing names in what crews noted at the end of the work."""

import re
from collections.abc import Collection
from typing import Any

from django.db.models import Q

from calcs.models import Closing
from jobs.models.people import ERASED_PERSON


def erase_fitters(names: Collection[str]) -> None:
    """Blank who checked a gas line where that was one of some people, licence and all, in earlier states too."""
    spaced = ("\\s+".join(map(re.escape, name.split())) for name in names)
    said = Q(gas_checked_by__iregex=rf"(^|\W)({'|'.join(spaced)})(\W|$)")
    events: Any = Closing._meta.get_field("events").related_model
    Closing.objects.filter(said).update(gas_checked_by=ERASED_PERSON)
    events.objects.filter(said).update(gas_checked_by=ERASED_PERSON)
