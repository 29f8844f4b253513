"""One shape for every error, a sentence for every constraint, and an OpenAPI document without warnings."""

import json
from pathlib import Path
from typing import Any

import pytest
from django.apps import apps
from django.core.exceptions import PermissionDenied, RequestDataTooBig, ValidationError
from django.core.management import call_command
from django.db import IntegrityError, connection, models
from django.http import Http404
from django.test import Client, RequestFactory
from rest_framework import exceptions

from calcs.engine.errors import InvalidInput, NoConvergence
from jobs.api import errors
from jobs.errors import DomainError
from jobs.models import User
from tests.factories import CustomerFactory


@pytest.mark.parametrize(
    ("error", "status", "code", "fields"),
    [
        (DomainError("busy", "Not now.", fields={"a": "b"}, status=409), 409, "busy", {"a": "b"}),
        (InvalidInput("must be 1 to 4", field="sections"), 400, "invalid", {"sections": "must be 1 to 4"}),
        (NoConvergence("no answer"), 400, "invalid", {}),
        (Http404(), 404, "not_found", {}),
        (PermissionDenied(), 403, "permission_denied", {}),
        (RequestDataTooBig(), 413, "too_large", {}),
        (ValidationError("Not so."), 400, "invalid", {}),
        (exceptions.ParseError(), 400, "parse_error", {}),
        (exceptions.MethodNotAllowed("PUT"), 405, "method_not_allowed", {}),
        (exceptions.UnsupportedMediaType("text/csv"), 415, "unsupported_media_type", {}),
        (exceptions.Throttled(wait=7), 429, "throttled", {}),
        (
            exceptions.ValidationError(
                {"support": {"height_in": ["too high", "no"]}, "crew": [{}, {"id": ["gone"]}]}
            ),
            400,
            "invalid",
            {"support.height_in": "too high no", "crew[1].id": "gone"},
        ),
    ],
    ids=lambda value: type(value).__name__ if isinstance(value, Exception) else None,
)
def test_every_error_has_one_shape(error: Exception, status: int, code: str, fields: dict[str, str]) -> None:
    found = errors.shape_of(error)
    assert found is not None
    assert (found[0], found[1]["code"], found[1]["fields"]) == (status, code, fields)
    assert set(found[1]) == {"code", "message", "fields"}
    assert found[1]["message"]


def test_what_belongs_to_no_field_is_the_message() -> None:
    found = errors.shape_of(exceptions.ValidationError({"non_field_errors": ["The days overlap."]}))
    assert found is not None
    assert found[1] == {"code": "invalid", "message": "The days overlap.", "fields": {}}


def test_a_fault_of_ours_is_not_dressed_up_as_the_clients() -> None:
    assert errors.shape_of(ZeroDivisionError()) is None
    assert errors.shape_of(IntegrityError("unknown")) is None


@pytest.mark.django_db
def test_a_clash_of_keys_without_a_sentence_of_its_own_is_a_conflict() -> None:
    customer = CustomerFactory()
    with pytest.raises(IntegrityError) as clash, connection.cursor() as cursor:
        cursor.execute(
            "INSERT INTO jobs_customer (id, name, phone, email, language, postal_address, notes)"
            " VALUES (%s, 'n', '', '', 'en', '', '')",
            [customer.pk],
        )
    found = errors.shape_of(clash.value)
    assert found is not None
    assert (found[0], found[1]["code"]) == (409, "conflict")


def test_every_constraint_has_a_sentence_at_a_field_that_exists() -> None:
    for name in ("jobs", "surveys"):
        app: Any = apps.get_app_config(name)
        named = {
            constraint.name
            for model in app.get_models()
            for constraint in model._meta.constraints
            if isinstance(constraint, models.BaseConstraint)
        }
        assert named <= app.constraint_sentences.keys()
        fields = {field.name for model in app.get_models() for field in model._meta.get_fields()} | {"value"}
        assert {field for field, _ in app.constraint_sentences.values()} <= fields
        assert all(sentence.endswith(".") for _, sentence in app.constraint_sentences.values())


# -- outside the views ---------------------------------------------------------------------------------------


def test_an_address_that_leads_nowhere_answers_in_the_same_shape_under_the_api_only() -> None:
    answer = Client().get("/api/v1/nowhere/")
    assert (answer.status_code, answer.json()["code"]) == (404, "not_found")
    assert "text/html" in Client().get("/nowhere/").headers["Content-Type"]


def test_what_django_itself_refuses_answers_in_the_same_shape() -> None:
    request = RequestFactory().get("/api/v1/homes/")
    assert json.loads(errors.server_error(request).content)["code"] == "error"
    assert json.loads(errors.bad_request(request, ValueError()).content)["code"] == "bad_request"
    assert errors.bad_request(request, RequestDataTooBig()).status_code == 413
    page = RequestFactory().get("/homes/")
    assert "text/html" in errors.server_error(page).headers["Content-Type"]
    assert "text/html" in errors.bad_request(page, ValueError()).headers["Content-Type"]


@pytest.mark.django_db
def test_broken_json_is_told(manager: User, api_for: Any) -> None:
    response = api_for(manager).post("/api/v1/homes/", "{", content_type="application/json")
    assert (response.status_code, response.json()["code"]) == (400, "parse_error")


# -- OpenAPI -------------------------------------------------------------------------------------------------


def test_the_openapi_document_is_valid_and_without_warnings(tmp_path: Path) -> None:
    file = tmp_path / "schema.json"
    call_command("spectacular", "--validate", "--fail-on-warn", "--format", "openapi-json", "--file", str(file))
    document = json.loads(file.read_text())
    assert document["openapi"].startswith("3.1")
    operations = [one for path in document["paths"].values() for one in path.values()]
    error = {"$ref": "#/components/schemas/Error"}
    for one in operations:
        assert one["responses"]["default"]["content"]["application/json"]["schema"] == error
    assert document["components"]["schemas"]["Error"]["required"] == ["code", "message", "fields"]
    assert document["components"]["securitySchemes"]["deviceToken"]["scheme"] == "bearer"
    taking = document["paths"]["/api/v1/surveys/{survey_id}/readings/"]["post"]
    rows = taking["requestBody"]["content"]["application/json"]["schema"]["properties"]["readings"]
    assert rows["maxItems"] == 2000
