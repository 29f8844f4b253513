"""The record of changes over the API: of one thing, and of all that lies under it."""

from typing import Any, cast

from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.exceptions import ValidationError
from rest_framework.generics import get_object_or_404
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.utils.urls import replace_query_param
from rest_framework.views import APIView

from jobs.history import ENTRIES_A_PAGE, history_of, things
from jobs.models import User
from jobs.models.base import Versioned
from jobs.rights import Act, need


class FieldChangeSerializer(serializers.Serializer[Any]):
    """One field, before and after."""

    field = serializers.CharField(help_text="as the API names it")
    # The name hides an attribute of the base class; the framework takes declared fields off the class.
    label = serializers.CharField(help_text="as people name it")  # type: ignore[assignment]
    before = serializers.CharField(help_text="in words; a dash for nothing")
    after = serializers.CharField()


class ChangeSerializer(serializers.Serializer[Any]):
    """What became of one row."""

    thing = serializers.CharField()
    id = serializers.UUIDField()
    name = serializers.CharField(help_text="what the row was called then")
    did = serializers.ChoiceField(choices=["added", "changed", "archived", "restored", "removed"])
    fields = FieldChangeSerializer(many=True)  # type: ignore[assignment]  # as above


class MoreSerializer(serializers.Serializer[Any]):
    """Further rows that the same act changed in the same way."""

    thing = serializers.CharField()
    did = serializers.CharField()
    count = serializers.IntegerField()


class EntrySerializer(serializers.Serializer[Any]):
    """One act: when, who, and what was changed in it."""

    at = serializers.DateTimeField()
    who = serializers.CharField(help_text="the person, or the program where no person's request did it")
    user = serializers.UUIDField(allow_null=True)
    changes = ChangeSerializer(many=True, help_text="the first twenty of a kind")
    more = MoreSerializer(many=True, help_text="how many more of a kind")


class HistorySerializer(serializers.Serializer[Any]):
    """A page of the record, newest first."""

    next = serializers.URLField(allow_null=True)
    previous = serializers.URLField(allow_null=True)
    results = EntrySerializer(many=True)


class AskedSerializer(serializers.Serializer[Any]):
    """Whose record is asked for."""

    thing = serializers.ChoiceField(choices=[])
    id = serializers.UUIDField()
    page = serializers.IntegerField(min_value=1, max_value=10**6, default=1)
    page_size = serializers.IntegerField(min_value=1, max_value=100, default=ENTRIES_A_PAGE)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["thing"] = serializers.ChoiceField(choices=sorted(things()))  # models are all known by now


class ChangesView(APIView):
    """Who changed what, when, from what to what: of one thing, and of all that lies under it."""

    @extend_schema(
        parameters=[
            OpenApiParameter("thing", str, required=True, description="what it is, such as home, point or visit"),
            OpenApiParameter("id", {"type": "string", "format": "uuid"}, required=True),
            OpenApiParameter("page", {"type": "integer", "minimum": 1}),
            OpenApiParameter("page_size", {"type": "integer", "minimum": 1, "maximum": 100}),
        ],
        responses=HistorySerializer,
    )
    def get(self, request: Request) -> Response:
        """Return a page of the record, newest first."""
        asked = AskedSerializer(data=request.query_params)
        if not asked.is_valid():
            raise ValidationError(asked.errors)
        wanted = asked.validated_data
        thing = _visible(wanted["thing"], wanted["id"], request)
        page = history_of(thing, reader=cast(User, request.user), number=wanted["page"], entries=wanted["page_size"])
        here = request.build_absolute_uri()
        answer = {
            "next": replace_query_param(here, "page", page.number + 1) if page.has_next else None,
            "previous": replace_query_param(here, "page", page.number - 1) if page.number > 1 else None,
            "results": page.entries,
        }
        return Response(HistorySerializer(answer).data)


def _visible(name: str, key: Any, request: Request) -> Versioned:
    """Return the thing, if the person may see it."""
    need(request.user, Act.SEE, things()[name])
    rows: Any = things()[name]._default_manager.all()
    if hasattr(rows, "visible_to"):
        rows = rows.visible_to(request.user)
    found: Versioned = get_object_or_404(rows, pk=key)
    return found
