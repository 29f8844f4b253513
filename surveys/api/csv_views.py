"""Files in and out over the API: checked first, then imported whole or not at all; exported line by line."""

import dataclasses
from collections.abc import Iterable
from typing import IO, Any, cast

from django.http import HttpResponseBase, StreamingHttpResponse
from django.utils.translation import gettext as _
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.negotiation import BaseContentNegotiation
from rest_framework.parsers import BaseParser, MultiPartParser
from rest_framework.permissions import IsAuthenticated
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from jobs.csv_files.run import Kind, check_may_import, export, run
from jobs.csv_files.text import MOST_BYTES
from jobs.errors import DomainError
from jobs.models import User
from surveys.csv_files.kinds import KINDS, cut


class CsvParser(BaseParser):
    """Hands the body on as it is; no more of it than a file may have."""

    media_type = "text/csv"

    def parse(self, stream: IO[Any], media_type: str | None = None, parser_context: Any = None) -> Any:
        """Return the bytes."""
        return stream.read(MOST_BYTES + 1)


class CountSerializer(serializers.Serializer[Any]):
    """How many things of one sort."""

    added = serializers.IntegerField()
    changed = serializers.IntegerField()
    unchanged = serializers.IntegerField()


class FileChangeSerializer(serializers.Serializer[Any]):
    """What a line adds or changes; ``values`` holds what was and what will be."""

    line = serializers.IntegerField()
    thing = serializers.CharField()
    name = serializers.CharField()
    values = serializers.DictField(child=serializers.ListField(child=serializers.CharField(allow_blank=True)))


class ProblemSerializer(serializers.Serializer[Any]):
    """What is wrong at a line."""

    line = serializers.IntegerField()
    column = serializers.CharField(allow_blank=True)
    message = serializers.CharField()


class ReportSerializer(serializers.Serializer[Any]):
    """What a file does, or would do."""

    kind = serializers.CharField()
    sha256 = serializers.CharField()
    is_dry_run = serializers.BooleanField()
    lines = serializers.IntegerField()
    counts = serializers.DictField(child=CountSerializer())
    changes = FileChangeSerializer(many=True)
    problems = ProblemSerializer(many=True)


def kind_named(name: str) -> Kind:
    """Return a kind of file, or raise that there is none."""
    try:
        return KINDS[name]
    except KeyError:
        message = _("There is no such kind of file; there are: %(names)s.") % {"names": ", ".join(KINDS)}
        raise DomainError("not_found", message, status=404) from None


_KIND = OpenApiParameter("kind", str, OpenApiParameter.PATH, enum=list(KINDS))


class ImportView(APIView):
    """Take a CSV file in."""

    parser_classes = [CsvParser, MultiPartParser]
    permission_classes = [IsAuthenticated]  # each kind of file says who brings it in and takes it out
    most_bytes = MOST_BYTES + 65_536  # a file, and what a form puts round it
    http_method_names = ["post", "options"]

    @extend_schema(
        operation_id="imports_create",
        request={
            "text/csv": OpenApiTypes.BINARY,
            "multipart/form-data": {"type": "object", "properties": {"file": {"type": "string", "format": "binary"}}},
        },
        parameters=[
            _KIND,
            OpenApiParameter("dry_run", bool, default=True, description="check only, and write nothing"),
            OpenApiParameter("sha256", str, description="of the file that was checked; needed to import"),
        ],
        responses=ReportSerializer,
    )
    def post(self, request: Request, kind: str) -> Response:
        """Check a file; with ``dry_run=false`` and the ``sha256`` that the check gave, import it: all or nothing."""
        found = kind_named(kind)
        check_may_import(found, cast(User, request.user))  # before anything that was sent is read
        is_dry_run = _is_dry_run(request.query_params.get("dry_run", "true"))
        sha256 = request.query_params.get("sha256", "")
        if not is_dry_run and not sha256:
            message = _("Check the file first, with dry_run=true, and send the sha256 that the check gave.")
            raise DomainError("not_checked", message, fields={"sha256": message})
        report = run(found, _sent(request), by=cast(User, request.user), is_dry_run=is_dry_run, sha256=sha256)
        return Response(dataclasses.asdict(report))


def _is_dry_run(text: str) -> bool:
    if text.lower() not in ("true", "false"):
        raise DomainError("invalid", _("Give true or false."), fields={"dry_run": _("Give true or false.")})
    return text.lower() == "true"


def _sent(request: Request) -> bytes:
    """Return the body, or the file of a form."""
    data: Any = request.data
    if isinstance(data, bytes):
        return data
    upload = data.get("file")
    if not hasattr(upload, "read"):
        message = _("Send the file as text/csv, or as “file” of a form.")
        raise DomainError("invalid", message, fields={"file": message})
    return bytes(upload.read(MOST_BYTES + 1))


class AnswersAsItDoes(BaseContentNegotiation):
    """Lets a client ask for text/csv: files come as CSV and errors as JSON, whatever is asked for."""

    def select_parser(self, request: Request, parsers: Iterable[Any]) -> Any:
        """Return the first: nothing is sent here."""
        return next(iter(parsers))

    def select_renderer(
        self, request: Request, renderers: Iterable[Any], format_suffix: str | None = None
    ) -> tuple[Any, str]:
        """Return the one for errors."""
        first = next(iter(renderers))
        return first, first.media_type


class ExportView(APIView):
    """Give a CSV file out."""

    content_negotiation_class = AnswersAsItDoes
    permission_classes = [IsAuthenticated]
    http_method_names = ["get", "head", "options"]

    @extend_schema(
        operation_id="exports_retrieve",
        parameters=[
            _KIND,
            OpenApiParameter("home", str, description="only this home's, by its code"),
            OpenApiParameter("survey", OpenApiTypes.UUID, description="only this survey's (readings)"),
        ],
        responses={(200, "text/csv"): OpenApiTypes.STR},
    )
    def get(self, request: Request, kind: str) -> HttpResponseBase:
        """Return everything that the person may see; importing it again unchanged changes nothing."""
        found, by = kind_named(kind), cast(User, request.user)
        return csv_response(found, by, cut(found, by, request.query_params.dict()))


def csv_response(kind: Kind, by: User, given: dict[str, str], *, mark: str = "") -> StreamingHttpResponse:
    """Stream a file; ``mark`` begins it with the byte order mark by which spreadsheet programs know UTF-8."""
    lines = export(kind, by=by, given=given)
    name = "-".join([kind.name, *("".join(c for c in value if c.isalnum() or c in "-_") for value in given.values())])
    return StreamingHttpResponse(
        (text.encode() for part in ([mark], lines) for text in part),
        content_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": f'attachment; filename="{name}.csv"'},
    )
