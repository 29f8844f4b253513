"""manage.py on a bare Python makes .venv, installs what is pinned and goes on inside: in a small checkout."""

import base64
import hashlib
import json
import os
import re
import shutil
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

from jobs.project import bootstrap
from tests.project.running import CHECKOUT

REQUIREMENTS = CHECKOUT / "jobs" / "project"
ENTRY = """
import json, os, sys
import tinyplumb
def run(argv):
    print(json.dumps([sys.prefix, os.getcwd(), argv[1:], tinyplumb.WORD, sys.flags.optimize]))
    return 7
"""


def make_wheel(folder: Path) -> str:
    """Write the smallest wheel there is; return the hash of the file."""
    path = folder / "tinyplumb-1.0-py3-none-any.whl"
    info = "tinyplumb-1.0.dist-info"
    files = {
        "tinyplumb.py": "WORD = 'plumb'\n",
        f"{info}/METADATA": "Metadata-Version: 2.1\nName: tinyplumb\nVersion: 1.0\n",
        f"{info}/WHEEL": "Wheel-Version: 1.0\nGenerator: tests\nRoot-Is-Purelib: true\nTag: py3-none-any\n",
    }
    record = ""
    with zipfile.ZipFile(path, "w") as wheel:
        for name, text in files.items():
            wheel.writestr(name, text)
            digest = base64.urlsafe_b64encode(hashlib.sha256(text.encode()).digest()).rstrip(b"=").decode()
            record += f"{name},sha256={digest},{len(text)}\n"
        wheel.writestr(f"{info}/RECORD", f"{record}{info}/RECORD,,\n")
    return hashlib.sha256(path.read_bytes()).hexdigest()


class SmallCheckout:
    """A checkout with the real manage.py and bootstrap.py, and one tiny package from a folder."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        project = folder / "jobs" / "project"
        project.mkdir(parents=True)
        for path in (folder / "jobs" / "__init__.py", project / "__init__.py"):
            path.touch()
        shutil.copy(CHECKOUT / "manage.py", folder)
        shutil.copy(CHECKOUT / "jobs" / "project" / "bootstrap.py", project)
        (project / "entry.py").write_text(ENTRY)
        self.pin(make_wheel(folder))
        self.environment = {
            **os.environ,
            **{"PIP_NO_INDEX": "1", "PIP_FIND_LINKS": folder.as_uri(), "PIP_CONFIG_FILE": os.devnull},
            # What a person's shell may hold, and what must not lead astray.
            **{"PYTHONPATH": "/nowhere", "PYTHONOPTIMIZE": "2", "PYTHONSAFEPATH": "1", "PIP_USER": "1"},
            **{"PIP_TARGET": "/nowhere", "HOME": "/nowhere", "MANAGE_VENV": ""},
        }

    def pin(self, digest: str) -> None:
        text = f"tinyplumb==1.0 --hash=sha256:{digest}\n"
        (self.folder / "jobs" / "project" / "requirements.txt").write_text(text)

    def start(self, *arguments: str) -> subprocess.Popen[str]:
        return subprocess.Popen(
            [sys.executable, str(self.folder / "manage.py"), *arguments],
            env=self.environment,
            cwd="/",
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )

    def run(self, *arguments: str) -> tuple[int, str, str]:
        process = self.start(*arguments)
        out, err = process.communicate(timeout=120)
        return process.returncode, out, err


@pytest.fixture(scope="module")
def checkout(tmp_path_factory: pytest.TempPathFactory) -> SmallCheckout:
    checkout = SmallCheckout(tmp_path_factory.mktemp("with a space") / "house")
    # A start that was killed half-way left this behind.
    venv = checkout.folder / ".venv"
    venv.mkdir()
    (venv / "half-made").touch()
    (venv / "pyvenv.cfg").write_text("home = /nowhere\n")
    # Two at once: one makes the environment again, the other waits for it.
    both = [checkout.start("calc", "x y"), checkout.start("calc", "x y")]
    ends = [process.communicate(timeout=120) for process in both]
    for process, (out, err) in zip(both, ends, strict=True):
        assert process.returncode == 7, err
        assert json.loads(out) == [str(checkout.folder / ".venv"), "/", ["calc", "x y"], "plumb", 0]
    said = "".join(err for _, err in ends)
    assert said.count("making .venv with Python") == 1
    assert said.count("installing up to 1 packages") == 1
    assert "tinyplumb" not in said  # pip's own words stay in its log
    assert not (venv / "half-made").exists()
    return checkout


def test_second_run_skips_what_is_done(checkout: SmallCheckout) -> None:
    code, out, err = checkout.run("calc")
    assert (code, err) == (7, "")
    assert json.loads(out)[0] == str(checkout.folder / ".venv")


def test_package_that_is_not_the_pinned_one_is_refused_with_advice(checkout: SmallCheckout) -> None:
    good = (checkout.folder / "jobs" / "project" / "requirements.txt").read_text()
    (checkout.folder / ".venv" / "lib").rename(checkout.folder / "lib.aside")
    try:
        shutil.copytree(checkout.folder / "lib.aside", checkout.folder / ".venv" / "lib", symlinks=True)
        for path in (checkout.folder / ".venv" / "lib").rglob("tinyplumb*"):
            shutil.rmtree(path) if path.is_dir() else path.unlink()
        checkout.pin("0" * 64)
        code, out, err = checkout.run("calc")
        assert (code, out) == (1, "")
        assert "pip could not install the packages:" in err
        assert err.rstrip().endswith("check the index that pip is set to use")
        assert len(err.splitlines()) < 14
    finally:
        shutil.rmtree(checkout.folder / ".venv" / "lib")
        (checkout.folder / "lib.aside").rename(checkout.folder / ".venv" / "lib")
        (checkout.folder / "jobs" / "project" / "requirements.txt").write_text(good)


def test_environment_is_sound_until_somebody_starts_to_make_it_anew(checkout: SmallCheckout) -> None:
    venv = checkout.folder / ".venv"
    assert bootstrap.is_sound(venv)
    (venv / "half-made").touch()
    assert not bootstrap.is_sound(venv)
    (venv / "half-made").unlink()


def test_environment_whose_python_is_gone_is_not_ready(checkout: SmallCheckout, tmp_path: Path) -> None:
    copy = tmp_path / ".venv"
    (copy / "bin").mkdir(parents=True)
    shutil.copy(checkout.folder / ".venv" / "pyvenv.cfg", copy)
    (copy / "bin" / "python").symlink_to("/nowhere/python3")
    assert not bootstrap.is_sound(copy)
    (copy / "installed.json").write_text('{"python": "/usr/bin/python3.9", "files": {}}')
    assert not bootstrap.is_ready(copy, [])


def test_note_of_another_file_is_not_ready(tmp_path: Path) -> None:
    (tmp_path / "bin").mkdir()
    (tmp_path / "bin" / "python").symlink_to(sys.executable)
    note = {"python": os.path.realpath(sys.executable), "files": {"requirements.txt": "0"}}
    (tmp_path / "installed.json").write_text(json.dumps(note))
    assert bootstrap.is_ready(tmp_path, [])
    assert not bootstrap.is_ready(tmp_path, ["requirements.txt"])
    note["files"] = {"requirements.txt": bootstrap.fingerprint("requirements.txt")}
    (tmp_path / "installed.json").write_text(json.dumps(note))
    assert bootstrap.is_ready(tmp_path, ["requirements.txt"])
    assert not bootstrap.is_ready(tmp_path, ["requirements.txt", "requirements-dev.txt"])


def test_python_without_venv_says_what_to_install(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(bootstrap.importlib.util, "find_spec", lambda name: None if name == "ensurepip" else name)
    with pytest.raises(bootstrap.CannotPrepare, match=r"lacks venv.* apt install python3\.\d+-venv"):
        bootstrap.make(tmp_path / ".venv")


@pytest.mark.parametrize("version", [(3, 9, 18), (3, 10, 13), (3, 14, 0)])
def test_other_python_is_told_in_one_line(version: tuple[int, int, int]) -> None:
    code = f"import runpy, sys; sys.version_info = {version}; runpy.run_path('manage.py', run_name='__main__')"
    seen = subprocess.run([sys.executable, "-c", code], cwd=CHECKOUT, capture_output=True, text=True, check=False)
    found = ".".join(map(str, version[:2]))
    wanted = f"this needs Python 3.11, 3.12 or 3.13, and runs on {found}; try: python3.13 manage.py\n"
    assert (seen.returncode, seen.stdout, seen.stderr) == (1, "", wanted)


def pins(name: str) -> dict[str, str]:
    text = (REQUIREMENTS / name).read_text()
    return dict(re.findall(r"^([a-z0-9-]+)==(\S+)", text, flags=re.MULTILINE))


def test_development_file_repeats_every_pin_of_the_other() -> None:
    base, development = pins("requirements.txt"), pins("requirements-dev.txt")
    assert len(base) > 30
    assert {name: development.get(name) for name in base} == base


@pytest.mark.parametrize("name", ["requirements.txt", "requirements-dev.txt"])
def test_pinned_files_have_hashes_and_no_address(name: str) -> None:
    text = (REQUIREMENTS / name).read_text()
    assert "://" not in text
    assert "-index" not in text
    entries = re.split(r"\n(?=[a-z0-9])", text)
    assert [entry for entry in entries if "--hash=sha256:" not in entry] == []
