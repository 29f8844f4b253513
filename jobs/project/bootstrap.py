"""Make the project's own environment in ``.venv``, install the pinned packages, and go on inside it.

Standard library only, and loaded by path: it runs on a bare Python before anything is installed. Says what it
does on standard error, since some commands write JSON to standard output.
"""

import contextlib
import fcntl
import hashlib
import importlib.util
import json
import os
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

CHECKOUT = Path(__file__).resolve().parent.parent.parent
FOR_DEVELOPMENT = {"test", "bench", "install"}
OWN_ENVIRONMENT = "MANAGE_VENV"  # "0": the person's Python already has the packages
ENTERED = "_MANAGE_ENTERED"

# These change which code Python runs or how; what only concerns output or caches stays.
MISLEADING = (
    *("PYTHONHOME", "PYTHONPATH", "PYTHONSTARTUP", "PYTHONUSERBASE", "PYTHONPLATLIBDIR", "PYTHONEXECUTABLE"),
    *("PYTHONSAFEPATH", "PYTHONINSPECT", "PYTHONOPTIMIZE", "PYTHONWARNINGS", "PYTHONNOUSERSITE", "PYTHONCASEOK"),
    *("PYTHONDEBUG", "PYTHONVERBOSE", "__PYVENV_LAUNCHER__"),
    # Packages are compiled when first used, a third of the work of compiling all; without a place to keep the
    # outcome every start would do it again.
    "PYTHONDONTWRITEBYTECODE",
)
# pip's own configuration decides where packages come from; these would put them somewhere else.
MISPLACING = (
    *("PIP_TARGET", "PIP_PREFIX", "PIP_ROOT", "PIP_PYTHON", "PIP_DRY_RUN", "PIP_CONSTRAINT", "PIP_REQUIREMENT"),
    *("PIP_QUIET", "PIP_VERBOSE", "PIP_NO_DEPS"),
)
SAY_EVERY = 10  # packages

ADVICE = (
    ("DO NOT MATCH THE HASHES", "a package is not the one that was pinned; check the index that pip is set to use"),
    ("No space left", "the disk is full"),
    ("Permission denied", "this user may not write to .venv"),
    ("Retrying", "pip cannot reach its index; check the network, or what `pip config list` says"),
    ("Connection", "pip cannot reach its index; check the network, or what `pip config list` says"),
    ("No matching distribution", "pip's index lacks this package for this machine; README.md names the platforms"),
)


class CannotPrepare(Exception):
    """The environment cannot be made; the message says why and what to do."""


def enter(argv: list[str]) -> None:
    """Return inside an environment that has every pinned package; otherwise make it and start over in it."""
    if os.environ.get(OWN_ENVIRONMENT) == "0":
        return
    venv = CHECKOUT / ".venv"
    names = ["requirements.txt"]
    if len(argv) > 1 and argv[1] in FOR_DEVELOPMENT:
        names.append("requirements-dev.txt")
    if not is_ready(venv, names):
        prepare(venv, names)
    if Path(sys.prefix).resolve() == venv.resolve():
        os.environ.pop(ENTERED, None)
        return
    if os.environ.get(ENTERED):
        raise CannotPrepare(f"{venv}/bin/python does not run in {venv}; remove that folder and start again")
    python = str(venv / "bin" / "python")
    sys.stderr.flush()
    os.execve(python, [python, str(CHECKOUT / "manage.py"), *argv[1:]], {**clean_environment(), ENTERED: "1"})


def is_ready(venv: Path, names: list[str]) -> bool:
    """Tell whether these files' packages are installed, by the note that the last install left."""
    try:
        note = json.loads((venv / "installed.json").read_text())
        same_python = note["python"] == os.path.realpath(venv / "bin" / "python")
        return same_python and all(note["files"].get(name) == fingerprint(name) for name in names)
    except (OSError, ValueError, KeyError, AttributeError, TypeError):
        return False


def prepare(venv: Path, names: list[str]) -> None:
    """Make the environment if need be and install; one process at a time."""
    with locked(venv.with_name(".venv.lock")):
        if is_ready(venv, names):  # the one that we waited for has done it
            return
        began_at = time.monotonic()
        if not is_sound(venv):
            make(venv)
        install(venv, names[-1])
        note = {
            "python": os.path.realpath(venv / "bin" / "python"),
            # The development file repeats every pin of the other (a test holds that).
            "files": {name: fingerprint(name) for name in names},
        }
        half = venv / "installed.json.new"
        half.write_text(json.dumps(note))
        half.replace(venv / "installed.json")
        say(f"ready after {time.monotonic() - began_at:.0f} s")


def is_sound(venv: Path) -> bool:
    """Tell whether the environment was made to the end, and its Python still runs and has pip."""
    python = venv / "bin" / "python"
    if (venv / "half-made").exists() or not (venv / "pyvenv.cfg").exists():
        return False
    probe = "import sys, pip; sys.exit(not (3, 11) <= sys.version_info[:2] <= (3, 13))"
    try:
        seen = subprocess.run(
            [str(python), "-c", probe], capture_output=True, env=clean_environment(), check=False, timeout=60
        )
    except (OSError, subprocess.TimeoutExpired):
        return False
    return seen.returncode == 0


def make(venv: Path) -> None:
    version = ".".join(map(str, sys.version_info[:3]))
    if not (importlib.util.find_spec("venv") and importlib.util.find_spec("ensurepip")):
        package = f"python{sys.version_info[0]}.{sys.version_info[1]}-venv"
        raise CannotPrepare(f"this Python lacks venv; on Debian or Ubuntu: apt install {package}, then start again")
    say(f"making .venv with Python {version}")
    if venv.is_symlink() or venv.is_file():
        venv.unlink()
    shutil.rmtree(venv, ignore_errors=True)
    try:
        venv.mkdir()
        (venv / "half-made").touch()
    except OSError as error:
        raise CannotPrepare(f"cannot make {venv}: {error.strerror}") from error
    seen = subprocess.run(
        [sys.executable, "-m", "venv", str(venv)],
        capture_output=True, text=True, env=clean_environment(), check=False,
    )  # fmt: skip
    if seen.returncode:
        raise CannotPrepare(f"cannot make .venv:\n{useful_tail(seen.stdout + seen.stderr)}")
    (venv / "half-made").unlink()


def install(venv: Path, name: str) -> None:
    """Install exactly what the file pins; show a line now and then, and pip's own words only if it fails."""
    path = CHECKOUT / "jobs" / "project" / name
    total = sum(line[:1].isalnum() for line in path.read_text().splitlines())
    say(f"installing up to {total} packages (once; later runs skip this)")
    (venv / "installed.json").unlink(missing_ok=True)
    environment = {**clean_environment(), "PIP_USER": "0", "PYTHONUNBUFFERED": "1"}
    command = [
        *(str(venv / "bin" / "python"), "-m", "pip", "install", "--require-hashes", "-r", str(path)),
        *("--no-input", "--disable-pip-version-check", "--no-warn-script-location", "--progress-bar", "off"),
        "--no-compile",
    ]
    log, fetched = venv / "install.log", 0
    with log.open("w") as file:
        pip = subprocess.Popen(
            command, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
            text=True, errors="replace", env=environment, cwd=CHECKOUT,
        )  # fmt: skip
        for line in pip.stdout or ():
            file.write(line)
            if line.startswith("Collecting "):
                fetched += 1
                if fetched % SAY_EVERY == 0:
                    say(f"  {fetched} fetched")
            elif line.startswith("Installing collected"):
                say("  all fetched, putting them in place")
        code = pip.wait()
    if code:
        text = log.read_text(errors="replace")
        advice = next((advice for words, advice in ADVICE if words in text), f"the whole of it is in {log}")
        raise CannotPrepare(f"pip could not install the packages:\n{useful_tail(text)}\n{advice}")


def useful_tail(text: str, count: int = 6) -> str:
    """Return the last lines that say something: errors if there are any."""
    lines = [line.rstrip() for line in text.splitlines() if line.strip()]
    errors = [line for line in lines if line.lstrip().startswith(("ERROR", "Error", "error:", "OSError"))]
    return "\n".join(f"  {line}" for line in (errors or lines)[-count:])


@contextlib.contextmanager
def locked(path: Path) -> Iterator[None]:
    """Hold a lock on a file; the kernel drops it when this process ends."""
    try:
        file = path.open("w")
    except OSError as error:
        raise CannotPrepare(f"cannot write {path}: {error.strerror}") from error
    with file:
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            say("another manage.py is preparing .venv; waiting for it")
            fcntl.flock(file, fcntl.LOCK_EX)
        yield


def fingerprint(name: str) -> str:
    return hashlib.sha256((CHECKOUT / "jobs" / "project" / name).read_bytes()).hexdigest()


def clean_environment() -> dict[str, str]:
    return {name: value for name, value in os.environ.items() if name not in {*MISLEADING, *MISPLACING}}


def say(text: str) -> None:
    with contextlib.suppress(OSError):
        sys.stderr.write(f"manage.py: {text}\n")
        sys.stderr.flush()
