"""Every operation of the API's description, called with what the description allows and with what it does not.

Whatever is sent: no answer is a fault of ours, and each one is as described, in status, type, headers and body.
``FUZZ_EXAMPLES=200 python3 manage.py test tests/project/test_openapi_fuzz.py`` runs longer.
"""

import datetime
import os
import random
import re
import traceback
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from uuid import UUID

import pytest
from django.apps import apps
from django.core.cache import cache
from django.core.signals import got_request_exception
from django.test import override_settings
from django.urls import resolve
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from schemathesis import Case, GenerationMode, openapi
from schemathesis.checks import not_a_server_error
from schemathesis.schemas import APIOperation
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_headers_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from calcs import chain
from jobs.models import DeviceToken, User
from jobs.project.celery import app as celery
from jobs.project.wsgi import application
from tests.calcs.working import read_survey, work_off
from tests.factories import (
    CompanyFactory,
    DrainNodeFactory,
    DrainRunFactory,
    PhotoUploadFactory,
    RuleSetFactory,
    SurveyFactory,
    UserFactory,
    VisitFactory,
)

Known = dict[str, list[str]]  # keys of records by their model's name

EXAMPLES = int(os.environ.get("FUZZ_EXAMPLES", "4"))  # of each operation, as described and otherwise
CHECKS = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_headers_conformance,
    response_schema_conformance,
]
ALIASES = {
    **{"a": "point", "b": "point", "replaces": "reading", "settles": "reading", "lead": "user", "crew": "user"},
    **{"author": "user", "by": "user", "lift": "calculation", "requested_by": "user", "run": "drainrun"},
}
_UUID = re.compile(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}", re.IGNORECASE)


@pytest.mark.django_db(transaction=True)
def test_answers_are_as_described_whatever_is_sent(without_worker: None, tmp_path: Path) -> None:
    with override_settings(MEDIA_ROOT=str(tmp_path)):
        call_all()


def call_all() -> None:
    """Call every operation of the description."""
    people = [UserFactory(roles=roles) for roles in (["manager"], ["crew_lead", "crew"], ["crew"], [])]
    known = records_seen_by(people)
    described = openapi.from_wsgi("/api/v1/schema", application, headers=sign_in(people[0]))
    operations = [found.ok() for found in described.get_all_operations()]
    for operation in operations:
        call_often(operation, known, people)
    assert len(operations) > 60  # the description was read


def call_often(operation: APIOperation, known: Known, people: list[User]) -> None:
    """Call an operation as different people with different contents, most of them about real records."""
    as_described, otherwise = (operation.as_strategy(mode) for mode in GenerationMode)

    @settings(
        max_examples=EXAMPLES,
        derandomize="FUZZ_EXAMPLES" not in os.environ,
        database=None,
        phases=[Phase.generate, Phase.shrink],
        suppress_health_check=list(HealthCheck),
        deadline=None,
    )
    @given(case=as_described | otherwise, person=st.sampled_from(people), choice=st.randoms(use_true_random=False))
    def call(case: Case, person: User, choice: random.Random) -> None:
        if choice.random() < 0.7:
            about_real_records(case, known, choice)
        cache.clear()  # of what slows guessing down
        with faults_told():
            case.call_and_validate(headers=sign_in(person), checks=CHECKS)

    call()


def sign_in(person: User) -> dict[str, str]:
    """Return the headers of a new device of somebody who works here, whatever an earlier call made of that.

    It unpacks nothing: what reads the answers takes bytes as they come.
    """
    User.objects.filter(pk=person.pk).update(is_active=True, roles=person.roles)
    _, secret = DeviceToken.objects.issue(user=person, name="fuzz", lifetime=datetime.timedelta(days=1))
    return {"Authorization": f"Bearer {secret}", "Accept-Encoding": "identity"}


# -- real records -------------------------------------------------------------------------------------------------


def records_seen_by(people: list[User]) -> Known:
    """Make a company with a read and computed home that all of them work at; return records' keys by model."""
    CompanyFactory()
    RuleSetFactory()
    survey = read_survey(author=people[0])
    visit = VisitFactory(siting=survey.siting, lead=people[1])
    visit.crew.set(people)
    drain = DrainRunFactory(siting=survey.siting)
    for at_ft, invert_in in ((0, 18), (12, 15)):
        DrainNodeFactory(run=drain, at_ft=at_ft, invert_in=invert_in)
    work_off(chain.ask(survey.pk, by=people[0]).new)
    SurveyFactory(siting=survey.siting, author=people[1])
    PhotoUploadFactory(siting=survey.siting, author=people[1], size_bytes=100_000)
    rows = [row for app in ("jobs", "surveys", "calcs") for row in apps.get_app_config(app).get_models()]
    known: Known = {
        model._meta.model_name or "": [str(key) for key in model._default_manager.values_list("pk", flat=True)[:8]]
        for model in rows
    }
    return known | {"user": [str(UserFactory(roles=["crew"]).pk)]}  # and not those who are signed in


def about_real_records(case: Case, known: Known, choice: random.Random) -> None:
    """Put keys of real records where the case names records."""
    model = _model_at(case.path)
    path = dict(case.path_parameters or {})
    for name in path:
        keys = known.get(name.removesuffix("_id")) or known.get(model, [])
        if keys:
            path[name] = choice.choice(keys)
    case.path_parameters = path
    if case.method in {"PATCH", "DELETE"} and choice.random() < 0.8:
        case.headers["If-Match"] = "*"
    if isinstance(case.body, dict | list):
        case.body = _with_real(case.body, known, choice)


def _model_at(path: str) -> str:
    view = resolve(re.sub(r"\{\w+\}", str(UUID(int=0)), path)).func
    queryset = getattr(view.cls, "queryset", None)
    return "" if queryset is None else str(queryset.model._meta.model_name)


def _with_real(part: Any, known: Known, choice: random.Random, name: str = "") -> Any:
    if isinstance(part, dict):
        return {key: _with_real(inner, known, choice, key) for key, inner in part.items()}
    if isinstance(part, list):
        return [_with_real(inner, known, choice, name) for inner in part]
    keys = known.get(ALIASES.get(name, name).replace("_", ""))
    return choice.choice(keys) if keys and isinstance(part, str) and _UUID.fullmatch(part) else part


# -- faults ---------------------------------------------------------------------------------------------------------


@contextmanager
def faults_told() -> Iterator[None]:
    """Add to a failure what the service itself says of it, which no client is told."""
    seen: list[str] = []

    def note(**_: Any) -> None:
        seen.append(traceback.format_exc())

    got_request_exception.connect(note)
    try:
        yield
    except BaseException as error:
        for trace in seen[:1]:
            error.add_note(trace)
        raise
    finally:
        got_request_exception.disconnect(note)


@pytest.fixture
def without_worker() -> Iterator[None]:
    """Leave sent tasks with the broker: this is about requests."""
    celery.conf.task_always_eager = False
    celery.conf.task_default_queue = "fuzz"
    yield
    celery.conf.task_always_eager = True
    celery.conf.task_default_queue = "celery"
