"""If-Match where two may edit (RFC 9110, section 13.1.1): a change says which version of the row it was made from."""

import re
from collections.abc import Iterable
from dataclasses import asdict
from typing import Any

from django.http import Http404
from django.utils.translation import gettext as _
from drf_spectacular.openapi import AutoSchema
from drf_spectacular.utils import OpenApiParameter
from rest_framework.exceptions import APIException, ValidationError
from rest_framework.generics import GenericAPIView
from rest_framework.request import Request
from rest_framework.response import Response

from jobs.errors import DomainError, Stale
from jobs.history import Meanwhile, changes_since
from jobs.models import LengthUnit
from jobs.models.base import Versioned

HEADER = "If-Match"
ANY = "*"
CHANGING = ("PATCH", "DELETE")
_TAG = re.compile(r'(?P<weak>W/)?(?P<tag>"[\x21\x23-\x7e\x80-\xff]*")\Z')
_BETWEEN_TAGS = re.compile(r",(?=(?:[^\"]*\"[^\"]*\")*[^\"]*\Z)")


def tag_of(edition: object) -> str:
    """Return the entity tag of one edition of a row."""
    return f'"{edition}"'


def required_tags(request: Request) -> list[str]:
    """Return the strong tags of the If-Match header, or ``["*"]``; weak ones never match and are left out.

    Raises
    ------
    DomainError
        428 without the header.
    ValidationError
        400 for a header that is no list of entity tags.
    """
    header = request.headers.get(HEADER)
    if header is None:
        sentence = _("Send the ETag of what you read, so that nobody's change is written over unseen.")
        raise DomainError(
            "precondition_required",
            _("Two may edit this at once, so the {header} header is needed.").format(header=HEADER) + f" {sentence}",
            fields={HEADER: sentence},
            status=428,
        )
    if header.strip() == ANY:
        return [ANY]
    # Commas may stand within a tag; a list may have empty places.
    found = [_TAG.match(part.strip()) for part in _BETWEEN_TAGS.split(header) if part.strip()]
    if not found or None in found:
        raise ValidationError({HEADER: _('Give * or entity tags in quotes, such as "3" or "3", "4".')})
    return [one["tag"] for one in found if one and not one["weak"]]


def check_tag(request: Request, tag: str) -> None:
    """Refuse a change that was made from something else than what ``tag`` stands for."""
    if not {ANY, tag} & set(required_tags(request)):
        raise Stale


def told(changes: Iterable[Meanwhile]) -> list[dict[str, Any]]:
    """Return changes as the API tells them."""
    return [asdict(one) for one in changes]


class VersionedSchema(AutoSchema):
    """Tells of the ETag of single rows, and of If-Match where they are changed."""

    def get_override_parameters(self) -> list[Any]:
        """Return the header that a change needs, and the one that single rows come with."""
        if not is_versioned(self.view):
            return []
        etag = OpenApiParameter(
            "ETag", str, OpenApiParameter.HEADER, response=[200, 201], description="stands for the version of the row"
        )
        if self.method not in CHANGING:
            return [] if self._is_list_view() else [etag]
        needed = OpenApiParameter(
            HEADER,
            str,
            OpenApiParameter.HEADER,
            required=True,
            description="the ETag of the row as read, or *",
        )
        return [needed] if self.method == "DELETE" else [needed, etag]

    def get_operation(self, *args: Any, **kwargs: Any) -> Any:
        """Add the two answers that If-Match brings."""
        operation = super().get_operation(*args, **kwargs)
        if operation and self.method in CHANGING and is_versioned(self.view):
            operation["responses"]["412"] = {
                "description": "Somebody else has changed the row meanwhile",
                "content": {"application/json": {"schema": {"$ref": "#/components/schemas/Stale"}}},
            }
            operation["responses"]["428"] = {
                "description": f"The {HEADER} header is missing",
                "content": {"application/json": {"schema": {"$ref": "#/components/schemas/Error"}}},
            }
        return operation


def is_versioned(view: Any) -> bool:
    """Tell whether a view changes rows that two may edit."""
    queryset = getattr(view, "queryset", None)
    return isinstance(view, VersionedMixin) and queryset is not None and issubclass(queryset.model, Versioned)


class VersionedMixin(GenericAPIView[Any]):
    """Single rows come with an ETag; a change needs If-Match, and gets the newer content back when it came late."""

    schema = VersionedSchema()

    def get_object(self) -> Any:
        """Return the row; for a change, only if it is still what the person has seen."""
        row = self.find_row()
        if self.request.method in CHANGING and isinstance(row, Versioned):
            check_tag(self.request, tag_of(row.edition))
        return row

    def find_row(self) -> Any:
        """Return the row that the address names."""
        return super().get_object()

    def finalize_response(self, request: Request, response: Response, *args: Any, **kwargs: Any) -> Response:
        """Put the ETag on every answer that is a single row."""
        data = getattr(response, "data", None)
        if is_versioned(self) and isinstance(data, dict) and "version" in data and response.status_code < 300:
            response["ETag"] = tag_of(data["version"])
        answer: Response = super().finalize_response(request, response, *args, **kwargs)
        return answer

    def handle_exception(self, exc: Exception) -> Response:
        """Tell somebody who came late what the row says now, and who changed what since."""
        response: Response = super().handle_exception(exc)
        if isinstance(exc, Stale) and response.status_code == exc.status:
            self._tell_both_sides(response)
        return response

    def _tell_both_sides(self, response: Response) -> None:
        try:
            row = self.find_row()
        except (Http404, APIException):  # gone meanwhile, or out of this person's sight
            return
        if not isinstance(row, Versioned) or not isinstance(response.data, dict):
            return
        unit = getattr(self.request.user, "length_unit", LengthUnit.INCHES)
        seen = self._edition_seen()
        response.data["current"] = self.get_serializer(row).data
        response.data["changes"] = told(changes_since(row, seen, unit=unit)) if seen else []
        response["ETag"] = tag_of(row.edition)

    def _edition_seen(self) -> int | None:
        """The newest edition that the person says to have seen; None where the header names none."""
        tags = [tag.strip('"') for tag in required_tags(self.request)] if HEADER in self.request.headers else []
        return max((int(tag) for tag in tags if tag.isascii() and tag.isdigit() and len(tag) < 10), default=None)
