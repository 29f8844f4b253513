"""Checks of the dependencies that need no network: all locked with hashes, as the project asks, and those installed.

It can't say whether a locked version has a known weakness: for that, somebody asks an advisory database elsewhere.
``python -m jobs.project.locked`` prints what is wrong, or that nothing is.
"""

import re
import sys
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from importlib.metadata import distributions
from pathlib import Path

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

CHECKOUT = Path(__file__).resolve().parent.parent.parent
HERE = Path(__file__).resolve().parent
TOOLS = {"pip", "setuptools", "wheel", "uv"}  # they install the rest

_HASH = re.compile(r"--hash=sha256:[0-9a-f]{64}(?= |$)")


@dataclass(frozen=True, slots=True)
class Locked:
    """One line of a lock: a package at a version, on the platforms that its marker names."""

    name: str
    version: str
    hashes: int
    requirement: Requirement

    @property
    def is_for_here(self) -> bool:
        """Tell whether this platform and Python need it."""
        return self.requirement.marker is None or self.requirement.marker.evaluate()


def read_lock(text: str) -> list[Locked]:
    """Return the lines of a lock.

    Raises
    ------
    ValueError
        When a line is not one package at one version.
    """
    lines = [line.strip() for line in text.replace("\\\n", " ").splitlines()]
    return [_locked(line) for line in lines if line and not line.startswith("#")]


def _locked(line: str) -> Locked:
    requirement = Requirement(line.partition("--hash")[0].strip())
    pins = list(requirement.specifier)
    if len(pins) != 1 or pins[0].operator != "==" or "*" in pins[0].version:
        raise ValueError(f"{requirement.name} is not pinned to one version")
    name = canonicalize_name(requirement.name)
    return Locked(name, pins[0].version, len(_HASH.findall(line)), requirement)


def problems(lock: list[Locked], wanted: list[Requirement]) -> Iterator[str]:
    """Say what is wrong with a lock by itself and against what the project asks for."""
    seen: set[tuple[str, str]] = set()
    for one in lock:
        if not one.hashes:
            yield f"{one.name}=={one.version} has no hash"
        if (one.name, str(one.requirement.marker)) in seen:
            yield f"{one.name} is locked twice"
        seen.add((one.name, str(one.requirement.marker)))
    for requirement in wanted:
        found = [one for one in lock if one.name == canonicalize_name(requirement.name)]
        if not found:
            yield f"{requirement.name} is asked for and not locked"
        for one in found:
            if one.version not in requirement.specifier:
                yield f"{one.name} is locked at {one.version}, asked for is {requirement.specifier}"


def differences(lock: list[Locked], installed: dict[str, str]) -> Iterator[str]:
    """Say where what is installed is not what is locked for this platform."""
    here = {one.name: one.version for one in lock if one.is_for_here}
    for name in sorted(here.keys() - installed.keys()):
        yield f"{name}=={here[name]} is locked and not installed"
    for name in sorted(installed.keys() - here.keys() - TOOLS):
        yield f"{name}=={installed[name]} is installed and not locked"
    for name in sorted(here.keys() & installed.keys()):
        if here[name] != installed[name]:
            yield f"{name} is installed at {installed[name]}, locked is {here[name]}"


def main() -> int:
    """Check the project's own locks, and what this Python has installed against them."""
    project = tomllib.loads((CHECKOUT / "pyproject.toml").read_text())["project"]
    wanted = [Requirement(line) for line in project["dependencies"]]
    wanted_too = [Requirement(line) for line in project["optional-dependencies"]["dev"]]
    lock, full = (read_lock((HERE / name).read_text()) for name in ("requirements.txt", "requirements-dev.txt"))
    installed = {str(canonicalize_name(one.name)): one.version for one in distributions()}
    is_for_development = any(canonicalize_name(one.name) in installed for one in wanted_too)
    apart = {(one.name, one.version) for one in lock} - {(one.name, one.version) for one in full}
    found = [
        *problems(lock, wanted),
        *problems(full, [*wanted, *wanted_too]),
        *(f"{name}=={version} is not in the lock for development" for name, version in sorted(apart)),
        *differences(full if is_for_development else lock, installed),
    ]
    sys.stdout.writelines(f"{line}\n" for line in found or [f"{len(full)} packages are locked, hashed and as asked"])
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
