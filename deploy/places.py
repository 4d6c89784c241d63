"""The folders in which the servers of one installation keep and run what is theirs."""

from __future__ import annotations

import os
import pwd
import shutil
import stat
import time
from dataclasses import dataclass
from pathlib import Path

from deploy.children import Account
from deploy.environment import others_may_enter, socket_folder

LOG_LIMIT = 10_000_000


class ServerProblem(Exception):
    """A server cannot be found or does not start; says what to do."""


def account_for_servers() -> Account | None:
    """PostgreSQL refuses to run as root: then ``nobody`` runs the servers."""
    if os.geteuid() != 0:
        return None
    try:
        entry = pwd.getpwnam("nobody")
    except KeyError:
        return Account(65534, 65534)
    return Account(entry.pw_uid, entry.pw_gid)


@dataclass(frozen=True)
class Places:
    """The folders of one installation; ``make`` lays them out."""

    data: Path
    account: Account | None

    @property
    def sockets(self) -> Path:
        return socket_folder(self.data)

    @property
    def logs(self) -> Path:
        return self.data / "logs"

    def make(self) -> None:
        self.data.mkdir(parents=True, exist_ok=True)
        # As root, the servers' own user has to get through to its folders.
        self.data.chmod(0o711 if self.account else 0o700)
        if self.account and not others_may_enter(self.data):
            raise ServerProblem(
                "You are root, and the embedded database must not be. Its user cannot reach "
                f"{self.data}. Start Spanbook as an ordinary user, or set SPANBOOK_DATA to a "
                "folder that lets others through, such as /var/lib/spanbook."
            )
        self.logs.mkdir(mode=0o700, exist_ok=True)
        self.own_folder(self.sockets)

    def own_folder(self, folder: Path) -> None:
        """A folder that only the servers' user can use. Refuses one that belongs to somebody
        else.
        """
        folder.mkdir(mode=0o700, exist_ok=True)
        wanted = self.account.uid if self.account else os.geteuid()
        found = folder.lstat()
        if not stat.S_ISDIR(found.st_mode) or found.st_uid not in {wanted, os.geteuid()}:
            raise ServerProblem(
                f"{folder} belongs to another user. Remove it or set SPANBOOK_DATA."
            )
        folder.chmod(0o700)
        if self.account:
            os.chown(folder, self.account.uid, self.account.gid)

    def log(self, name: str) -> Path:
        path = self.logs / f"{name}.log"
        if path.exists() and path.stat().st_size > LOG_LIMIT:
            path.replace(path.with_suffix(".log.old"))
        return path


def reachable(folder: Path, beside: tuple[Path, ...], places: Places, name: str) -> Path:
    """``folder``, or a copy of it (and of what lies beside it) that the servers' user can enter."""
    if places.account is None or others_may_enter(folder.resolve()):
        return folder
    copies = places.data / "programs" / name
    if not copies.exists():
        half = copies.with_name(f"{name}.half")
        shutil.rmtree(half, ignore_errors=True)
        for source in (folder, *beside):
            # The programs find their libraries by their relative place.
            inside = half / source.relative_to(folder.parent.parent)
            shutil.copytree(source, inside, ignore=shutil.ignore_patterns("include"))
        half.rename(copies)
    return copies / folder.relative_to(folder.parent.parent)


def server_environment() -> dict[str, str]:
    """The user's environment without what would steer the servers: PG… variables and the locale."""
    kept = {key: value for key, value in os.environ.items() if not key.startswith("PG")}
    return kept | {"LC_ALL": "C", "LANG": "C"}


def build_mark(program: Path) -> str:
    """A mark that tells one build of a program from another: size and time of the program."""
    entry = program.stat()
    return f"{entry.st_size}-{time.strftime('%Y%m%d', time.gmtime(entry.st_mtime))}"
