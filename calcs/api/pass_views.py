"""The steps of plans' work as crews note them: listed, read and added."""

import django_filters
from django.db.models import Exists, OuterRef

from calcs.api.pass_serializers import PassEntrySerializer
from calcs.models import Approval, PassEntry
from calcs.work import note_pass
from jobs.api.field_views import FromPhoneViewSet


class PassEntryFilter(django_filters.FilterSet):
    """Steps by survey, plan, point and pass."""

    survey = django_filters.UUIDFilter(field_name="plan__survey")

    class Meta:
        model = PassEntry
        fields = ["plan", "point", "pass_number", "author"]


class PassEntryViewSet(FromPhoneViewSet):
    """What was done at which support in which pass of a plan, and what was read after it."""

    queryset = PassEntry.objects.order_by().annotate(
        is_plan_approved=Exists(Approval.objects.standing().filter(plan=OuterRef("plan")))
    )
    serializer_class = PassEntrySerializer
    filterset_class = PassEntryFilter
    keep = staticmethod(note_pass)
