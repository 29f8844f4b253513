"""The one address that a phone sends everything to, and where it sees what was set aside."""

from typing import Any, ClassVar, cast
from uuid import UUID

import msgspec
from django.http import HttpResponse
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import mixins
from rest_framework import status as codes
from rest_framework.decorators import action
from rest_framework.exceptions import UnsupportedMediaType
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.viewsets import GenericViewSet

from calcs.api.sync import schema
from calcs.api.sync.serializers import LeavingOutSerializer, SyncEntrySerializer
from calcs.api.sync.take import take_entries
from calcs.api.sync.wire import decode
from jobs.api.throttling import SyncRequests
from jobs.models import User
from jobs.rights import Act, need
from surveys.models import SyncEntry
from surveys.set_aside import leave_out

_json = msgspec.json.Encoder()


class SyncViewSet(mixins.ListModelMixin, GenericViewSet[SyncEntry]):
    """A phone's entries: sent here, taken one by one; what was set aside is listed with the reason."""

    queryset = SyncEntry.objects.order_by()
    serializer_class = SyncEntrySerializer
    filterset_fields = ["state", "device", "kind", "entry", "author"]
    acts: ClassVar[dict[str, Act]] = {"leave_out": Act.CHANGE}
    lookup_value_converter = "uuid"
    most_bytes = 2_500_000
    throttle_classes = [SyncRequests]

    def get_queryset(self) -> Any:
        """Return one's own entries; everybody's for the manager and the office."""
        return SyncEntry.objects.order_by().visible_to(self.request.user)

    @extend_schema(request={"application/json": schema.PARCEL}, responses={200: schema.RESULTS})
    def create(self, request: Request) -> HttpResponse:
        """Take entries in order. Each is answered: taken, repeated, or set aside with the reason.

        Sending again is harmless. An entry that was set aside is tried again when it is sent again, as it was or
        mended under the same id; what was taken never changes.
        """
        received_at = timezone.now()
        if request.content_type.partition(";")[0].strip() != "application/json":
            raise UnsupportedMediaType(request.content_type or "")
        sender = cast(User, request.user)
        need(sender, Act.ADD, SyncEntry)
        parcel = decode(request._request.body, sender_id=sender.pk, received_at=received_at)
        results = take_entries(sender=sender, parcel=parcel)
        answer = {"server_time": received_at, "results": results}
        return HttpResponse(_json.encode(answer), content_type="application/json")

    @extend_schema(request=LeavingOutSerializer, responses={204: None})
    @action(detail=True, methods=["post"], url_path="leave-out", pagination_class=None, filterset_fields=[])
    def leave_out(self, request: Request, pk: UUID) -> Response:
        """Take an entry off the list of what was set aside. It stays kept; a phone may still send it again."""
        wanted = LeavingOutSerializer(data=request.data)
        wanted.is_valid(raise_exception=True)
        leave_out(entry=pk, by=cast(User, request.user), why=wanted.validated_data["why"])
        return Response(status=codes.HTTP_204_NO_CONTENT)
