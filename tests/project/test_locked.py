"""The check of the dependencies: it holds here, and finds each thing that could be wrong."""

import pytest
from packaging.requirements import Requirement

from jobs.project import locked

HASH = "--hash=sha256:" + "0" * 64
GOOD = f"alpha==1.2 \\\n    {HASH} \\\n    {HASH}\nbeta==2.0 ; python_version < '3' \\\n    {HASH}\n"


def test_holds_for_this_project_and_what_is_installed(capsys: pytest.CaptureFixture[str]) -> None:
    assert locked.main() == 0
    assert capsys.readouterr().out.endswith("packages are locked, hashed and as asked\n")


def test_reads_names_versions_hashes_and_platforms() -> None:
    alpha, beta = locked.read_lock(GOOD)
    assert (alpha.name, alpha.version, alpha.hashes, alpha.is_for_here) == ("alpha", "1.2", 2, True)
    assert (beta.name, beta.is_for_here) == ("beta", False)


@pytest.mark.parametrize("line", ["alpha>=1.2", "alpha", "alpha==1.*", "alpha==1.2,!=1.3"])
def test_a_package_without_one_version_is_refused(line: str) -> None:
    with pytest.raises(ValueError, match="alpha is not pinned to one version"):
        locked.read_lock(f"{line} {HASH}")


@pytest.mark.parametrize(
    ("lock", "wanted", "found"),
    [
        (GOOD, ["Alpha~=1.2"], []),
        ("alpha==1.2", [], ["alpha==1.2 has no hash"]),
        ("alpha==1.2 --hash=sha256:0", [], ["alpha==1.2 has no hash"]),
        (f"alpha==1.2 {HASH}\nalpha==1.2 {HASH}", [], ["alpha is locked twice"]),
        (GOOD, ["gamma"], ["gamma is asked for and not locked"]),
        (GOOD, ["alpha~=2.0"], ["alpha is locked at 1.2, asked for is ~=2.0"]),
    ],
)
def test_what_is_wrong_with_a_lock_is_said(lock: str, wanted: list[str], found: list[str]) -> None:
    requirements = [Requirement(line) for line in wanted]
    assert list(locked.problems(locked.read_lock(lock), requirements)) == found


@pytest.mark.parametrize(
    ("installed", "found"),
    [
        ({"alpha": "1.2", "pip": "1"}, []),
        ({}, ["alpha==1.2 is locked and not installed"]),
        ({"alpha": "1.3"}, ["alpha is installed at 1.3, locked is 1.2"]),
        ({"alpha": "1.2", "gamma": "3"}, ["gamma==3 is installed and not locked"]),
    ],
)
def test_what_is_installed_otherwise_is_said(installed: dict[str, str], found: list[str]) -> None:
    assert list(locked.differences(locked.read_lock(GOOD), installed)) == found
