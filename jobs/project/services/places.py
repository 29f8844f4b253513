"""Where the embedded services keep data, logs and sockets, and who runs them."""

import hashlib
import os
import pwd
import stat
import tempfile
from dataclasses import dataclass
from pathlib import Path

from jobs.project.services import ServiceError

CHECKOUT = Path(__file__).resolve().parent.parent.parent.parent

# A socket's whole path must fit in sockaddr_un: 108 bytes on Linux, 104 on macOS, with the closing zero.
LONGEST_SOCKET_PATH = 103
LONGEST_SOCKET_NAME = len("/.s.PGSQL.5432")


@dataclass(frozen=True, slots=True)
class Account:
    """A user of the machine that is not root: PostgreSQL refuses to run as root."""

    name: str
    uid: int
    gid: int


@dataclass(frozen=True, slots=True)
class Places:
    """Folders of one set of services.

    ``home`` holds data, logs, lock and state; ``programs`` is where root keeps copies of the programs for all
    sets of the checkout; ``account`` is set when root hands the stores to an unprivileged user.
    """

    home: Path
    programs: Path
    sockets: Path
    account: Account | None

    @property
    def logs(self) -> Path:
        return self.home / "logs"

    def prepare(self) -> None:
        """Make the folders; refuse one that somebody else owns."""
        for folder in (self.home, self.logs):
            make_folder(folder, mode=0o755 if self.account else 0o700)
        if self.account:
            _require_reachable(self.home, self.account)
        make_folder(self.sockets, mode=0o700, owner=self.account)


def home_of_checkout(checkout: Path = CHECKOUT) -> Path:
    """``.data`` in the checkout; for root a folder that an unprivileged user can reach; or ``DATA_DIR``."""
    if os.environ.get("DATA_DIR"):
        return Path(os.environ["DATA_DIR"]).absolute()
    return _reachable_home(checkout) if os.geteuid() == 0 else checkout / ".data"


def places(home: Path | None = None) -> Places:
    """Return the places of the checkout's own services, or of a set of its own in ``home``."""
    home = home or home_of_checkout()
    account = unprivileged_account() if os.geteuid() == 0 else None
    programs = _reachable_home(CHECKOUT) / "programs"
    return Places(home=home, programs=programs, sockets=_socket_folder(home), account=account)


def _reachable_home(checkout: Path) -> Path:
    return Path("/var/lib") / f"releveling-{short_hash(checkout)}"


def short_hash(path: Path) -> str:
    return hashlib.sha256(os.fsencode(path)).hexdigest()[:10]


def unprivileged_account() -> Account:
    try:
        entry = pwd.getpwnam("nobody")
    except KeyError as error:
        message = "root cannot run PostgreSQL and there is no user 'nobody' to run it; start this as another user"
        raise ServiceError(message) from error
    return Account(name=entry.pw_name, uid=entry.pw_uid, gid=entry.pw_gid)


def make_folder(folder: Path, *, mode: int, owner: Account | None = None) -> None:
    """Make a folder with exactly this mode and owner; an existing one must already be ours."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        seen = folder.lstat()
        if not stat.S_ISDIR(seen.st_mode) or seen.st_uid not in {os.geteuid(), owner.uid if owner else -1}:
            raise ServiceError(f"{folder} belongs to somebody else; remove it or set DATA_DIR to another folder")
        folder.chmod(mode)
        if owner:
            os.chown(folder, owner.uid, owner.gid)
    except OSError as error:
        raise ServiceError(f"cannot make {folder}: {error.strerror}; set DATA_DIR to a folder of yours") from error


def _socket_folder(home: Path) -> Path:
    """A folder near enough to the root that a socket's path fits, and private by its mode."""
    candidates = []
    if os.geteuid() == 0:
        candidates.append(home / "sockets")
    else:
        name = f"releveling-{short_hash(home)}"
        runtime = os.environ.get("XDG_RUNTIME_DIR", "")
        if runtime and Path(runtime).is_dir() and Path(runtime).stat().st_uid == os.geteuid():
            candidates.append(Path(runtime) / name)
        candidates += [Path(tempfile.gettempdir()) / name, Path("/tmp") / name]  # noqa: S108 - made 0700, ours
    candidates.append(Path("/tmp") / f"releveling-{short_hash(home)}")  # noqa: S108 - made 0700, ours
    for folder in candidates:
        if len(os.fsencode(folder)) + LONGEST_SOCKET_NAME <= LONGEST_SOCKET_PATH:
            return folder
    raise ServiceError("no folder with a short enough path for sockets; set XDG_RUNTIME_DIR or TMPDIR to one")


def _require_reachable(folder: Path, account: Account) -> None:
    for parent in folder.parents:
        if not parent.stat().st_mode & stat.S_IXOTH:
            message = (
                f"as root, data is kept by user {account.name}, who cannot enter {parent}; set DATA_DIR elsewhere"
            )
            raise ServiceError(message)
