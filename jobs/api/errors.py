"""Every error of the API in one shape: ``{"code", "message", "fields"}``."""

import math
from collections.abc import Iterator, Mapping
from typing import Any

from django.core.exceptions import PermissionDenied, RequestDataTooBig
from django.core.exceptions import ValidationError as DjangoValidationError
from django.db import IntegrityError
from django.db.models import ProtectedError
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views import defaults
from rest_framework import exceptions
from rest_framework.response import Response
from rest_framework.views import set_rollback

from calcs.engine.errors import EngineError
from jobs.errors import DomainError
from jobs.refusals import refusal_of
from jobs.spoken import retold

Answer = tuple[int, dict[str, Any], dict[str, str]]  # status, body, headers

INVALID = gettext_lazy("Some fields need another look.")
IN_USE = gettext_lazy("Other records refer to this one, so it stays.")


def one_shape(error: Exception, context: Mapping[str, Any]) -> Response | None:
    """Turn whatever a view raised into the one shape; None for a fault of ours, which answers 500 and is logged."""
    found = shape_of(error)
    if found is None:
        return None
    set_rollback()
    status, body, headers = found
    return Response(body, status=status, headers=headers)


def shape_of(error: Exception) -> Answer | None:
    """Return the status, body and headers that answer an error; None when it is not the client's doing."""
    match error:
        case DomainError():
            return error.status, _body(error.code, error.message, error.fields), {}
        case EngineError():
            sentence = retold(error.message)
            fields = {error.field: sentence} if error.field else {}
            return 400, _body("invalid", INVALID if fields else sentence, fields), {}
        case exceptions.APIException():
            return _of_framework(error)
        case ProtectedError():  # an IntegrityError that never reached the database
            return 409, _body("in_use", IN_USE), {}
        case IntegrityError():
            return _refused_by_database(error)
    return _of_django(error)


def body_of(error: DomainError) -> dict[str, Any]:
    """Return what the API says of something that the job's rules don't allow."""
    return _body(error.code, error.message, error.fields)


def _of_django(error: Exception) -> Answer | None:
    match error:
        case DjangoValidationError():
            return 400, _body("invalid", " ".join(error.messages)), {}
        case RequestDataTooBig():
            return 413, _body("too_large", _("The request is too large: send it in parts.")), {}
        case Http404():
            return _of_framework(exceptions.NotFound())
        case PermissionDenied():
            return _of_framework(exceptions.PermissionDenied())
    return None


def _body(code: str, message: str | Promise, fields: Mapping[str, str] | None = None) -> dict[str, Any]:
    return {"code": code, "message": str(message), "fields": dict(fields or {})}


def _of_framework(error: exceptions.APIException) -> Answer:
    headers = {}
    if challenge := getattr(error, "auth_header", None):
        headers["WWW-Authenticate"] = challenge
    if wait := getattr(error, "wait", None):
        headers["Retry-After"] = str(math.ceil(wait))
    if isinstance(error, exceptions.ValidationError):
        fields: dict[str, list[str]] = {}
        for path, sentence in _sentences(error.detail):
            fields.setdefault(path, []).append(sentence)
        message = " ".join(fields.pop("", [])) or INVALID
        joined = {path: " ".join(sentences) for path, sentences in fields.items()}
        return error.status_code, _body("invalid", message, joined), headers
    if isinstance(error, exceptions.Throttled):
        message = _("Too many requests: nothing of this one was taken. Keep it, and send it again in {wait} s.")
        wait = headers.get("Retry-After", "60")
        return error.status_code, _body("throttled", message.format(wait=wait), {}), headers
    if isinstance(error, exceptions.NotAuthenticated):
        return error.status_code, _not_authenticated(), headers
    code = error.get_codes()
    return error.status_code, _body(code if isinstance(code, str) else "error", str(error.detail)), headers


def _not_authenticated() -> dict[str, Any]:
    return _body("not_authenticated", _("Nobody is signed in: sign in, then do it again."))


def _sentences(detail: Any, path: str = "") -> Iterator[tuple[str, str]]:
    """Walk a serializer's errors; paths look like ``support.height_in`` and ``crew[1]``."""
    if isinstance(detail, Mapping):
        for key, inner in detail.items():
            if key == "non_field_errors":
                yield from _sentences(inner, path)
            elif isinstance(key, int):
                yield from _sentences(inner, f"{path}[{key}]")
            else:
                yield from _sentences(inner, f"{path}.{key}" if path else str(key))
    elif isinstance(detail, list):
        for index, inner in enumerate(detail):
            nested = isinstance(inner, Mapping | list)
            yield from _sentences(inner, f"{path}[{index}]" if nested else path)
    else:
        yield path, str(detail)


def _refused_by_database(error: IntegrityError) -> Answer | None:
    refusal = refusal_of(error)
    if refusal is None:
        return None
    code, field, sentence = refusal
    if field:
        return 400, _body(code, INVALID, {field: sentence}), {}
    return 409, _body(code, sentence), {}


# -- outside the API's views: addresses that lead nowhere, requests that Django itself refuses ----------------


def bad_request(request: HttpRequest, exception: Exception) -> HttpResponse:
    """Answer what Django refused to read."""
    if not is_api(request):
        return defaults.bad_request(request, exception)
    status, body, _headers = shape_of(exception) or (400, _body("bad_request", _("This request can't be read.")), {})
    return JsonResponse(body, status=status)


def page_not_found(request: HttpRequest, exception: Exception) -> HttpResponse:
    """Answer an address that leads nowhere."""
    if not is_api(request):
        return defaults.page_not_found(request, exception)
    return JsonResponse(_body("not_found", _("There is nothing at this address.")), status=404)


def server_error(request: HttpRequest) -> HttpResponse:
    """Answer a fault of ours; the log has the rest."""
    if not is_api(request):
        return defaults.server_error(request)
    return JsonResponse(_body("error", _("Something went wrong on our side; nothing was changed.")), status=500)


def not_signed_in() -> JsonResponse:
    """Answer a program that asks, outside the API, for somebody who is not signed in."""
    return JsonResponse(_not_authenticated(), status=401)


def is_api(request: HttpRequest) -> bool:
    return request.path.startswith("/api/")
