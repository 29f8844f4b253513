"""The compose file: what its services are, that secrets are asked for, that nothing runs as root or with more rights.

There is no container engine where the tests run, so this reads the file as the engine would, merges and all.
"""

import re
import shlex
from importlib.metadata import entry_points
from importlib.util import find_spec
from typing import Any

import pytest
import yaml

from tests.project.running import CHECKOUT

COMPOSE = yaml.safe_load((CHECKOUT / "docker-compose.yml").read_text())
SERVICES: dict[str, dict[str, Any]] = COMPOSE["services"]
OURS = ["migrate", "web", "worker", "beat"]
STORES = ["postgres", "redis"]
READERS = [CHECKOUT / "jobs" / "project" / f"{name}.py" for name in ("settings", "serving", "celery")]
SECRETS = {"POSTGRES_PASSWORD", "REDIS_PASSWORD", "SECRET_KEY"}


def test_services_are_the_parts_of_the_service() -> None:
    assert set(SERVICES) == {*OURS, *STORES}


@pytest.mark.parametrize("name", OURS)
def test_what_is_set_is_read(name: str) -> None:
    read = {found for path in READERS for found in re.findall(r'env\w*\.\w+\(\s*"(\w+)"', path.read_text())}
    assert set(SERVICES[name]["environment"]) <= read


def test_secrets_come_from_the_environment_and_are_asked_for() -> None:
    text = (CHECKOUT / "docker-compose.yml").read_text()
    used = set(re.findall(r"(?<!\$)\$\{(\w+)", text))
    assert used >= SECRETS
    for secret in SECRETS:
        assert re.findall(rf"(?<!\$)\$\{{{secret}(?!:\?set )", text) == [], secret


@pytest.mark.parametrize("name", [*OURS, *STORES])
def test_nothing_has_more_rights_than_it_needs(name: str) -> None:
    service = SERVICES[name]
    assert service["cap_drop"] == ["ALL"]
    assert service["security_opt"] == ["no-new-privileges:true"]
    assert "privileged" not in service
    assert (name == "web") == ("ports" in service)
    assert service["logging"]["options"]["max-size"]
    if name != "postgres":
        assert service["read_only"] is True
        assert "cap_add" not in service


def test_only_this_machine_reaches_the_pages_and_nothing_reaches_the_stores() -> None:
    assert SERVICES["web"]["ports"] == ["${LISTEN:-127.0.0.1}:${PORT:-8000}:8000"]
    assert COMPOSE["networks"]["inside"] == {"internal": True}
    for name in (*STORES, "migrate", "beat"):
        assert SERVICES[name]["networks"] == ["inside"]
    assert SERVICES["worker"]["networks"] == ["inside", "outside"]  # to the mail server
    assert "ports" not in SERVICES["worker"]


@pytest.mark.parametrize("name", OURS)
def test_the_image_is_built_from_the_lock_and_does_not_run_as_root(name: str) -> None:
    steps = SERVICES[name]["build"]["dockerfile_inline"].splitlines()
    assert any("--require-hashes" in step for step in steps)
    assert steps[-1].strip().startswith("USER ")
    assert steps[-1].strip() != "USER root"


@pytest.mark.parametrize("name", STORES)
def test_images_are_pinned_to_a_release(name: str) -> None:
    assert re.fullmatch(r"[a-z]+:\d+\.\d+(\.\d+)?-[a-z]+", SERVICES[name]["image"])


@pytest.mark.parametrize("name", [*OURS, *STORES])
def test_all_but_the_step_that_ends_say_how_they_are(name: str) -> None:
    assert ("healthcheck" in SERVICES[name]) == (name != "migrate")
    assert SERVICES[name]["restart"] == ("no" if name == "migrate" else "unless-stopped")


def test_migrations_are_a_step_of_their_own_before_all_else() -> None:
    assert SERVICES["migrate"]["command"] == "python manage.py migrate --no-input"
    assert SERVICES["migrate"]["depends_on"] == {"postgres": {"condition": "service_healthy"}}
    for name in ("web", "worker", "beat"):
        after = SERVICES[name]["depends_on"]
        assert after["migrate"] == {"condition": "service_completed_successfully"}
        assert after["redis"] == {"condition": "service_healthy"}


def test_what_must_outlive_a_container_is_on_a_volume() -> None:
    assert set(COMPOSE["volumes"]) == {"postgres", "files"}
    assert SERVICES["postgres"]["volumes"] == ["postgres:/var/lib/postgresql"]
    for name in OURS:
        assert SERVICES[name]["volumes"] == ["files:/srv/files"]
        assert SERVICES[name]["environment"]["MEDIA_ROOT"] == "/srv/files"


@pytest.mark.parametrize("name", OURS)
def test_commands_name_programs_and_modules_that_are_there(name: str) -> None:
    program, *arguments = shlex.split(SERVICES[name]["command"])
    assert program == "python" or program in {entry.name for entry in entry_points(group="console_scripts")}
    modules = [word.removeprefix("python:") for word in arguments if word.startswith(("jobs.", "python:jobs."))]
    assert all(find_spec(module) for module in modules)
    assert modules or arguments[0] == "manage.py"
