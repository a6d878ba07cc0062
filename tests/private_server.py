"""A PostgreSQL server of a test's own, to be stopped, frozen and started at will.

It listens on a socket in its own folder only, so it is in nobody's way. The server refuses to run
as root, so there its programs run as the system's user `postgres`, or as nobody.
"""

from __future__ import annotations

import os
import pwd
import secrets
import shutil
import subprocess
import tempfile
from pathlib import Path
from typing import Any, Self

_PROGRAMS = "/usr/lib/postgresql"


class PrivateServer:
    """A cluster in a temporary folder, running from `with` on."""

    def __init__(self, *, is_safe: bool = False) -> None:
        """`is_safe`: it syncs each commit to the disk, as a server of a hotline does."""
        self._fsync = "on" if is_safe else "off"
        self._programs = _programs()
        # Short, as the path of a socket may have no more than 107 bytes.
        self._folder = Path(tempfile.mkdtemp(prefix="pg", dir="/tmp"))
        self._as_user: dict[str, Any] = {}
        if os.getuid() == 0:
            user = _unprivileged()
            os.chown(self._folder, user.pw_uid, user.pw_gid)
            self._as_user = {"user": user.pw_uid, "group": user.pw_gid, "extra_groups": []}
        self._data = self._folder / "data"
        self.is_running = False

    def __enter__(self) -> Self:
        # Without waiting for the disk: it is stopped, never cut off from power.
        self._run("initdb", "-D", self._data, "-U", "desk", "-A", "trust", "--no-sync")
        self.start()
        return self

    def __exit__(self, *_exception: object) -> None:
        if self.is_running:
            self.stop("immediate")
        shutil.rmtree(self._folder)

    def new_database(self, *, password: str = "") -> str:
        """Return the address of a new, empty database; the server asks for no password."""
        import sqlalchemy

        name = f"triage_{secrets.token_hex(4)}"
        admin = sqlalchemy.create_engine(
            self._address("postgres", ""), isolation_level="AUTOCOMMIT"
        )
        with admin.connect() as connection:
            connection.exec_driver_sql(f"CREATE DATABASE {name}")
        admin.dispose()
        return self._address(name, password)

    def _address(self, database: str, password: str) -> str:
        who = f"desk:{password}" if password else "desk"
        return f"postgresql+psycopg://{who}@/{database}?host={self._folder}"

    def start(self) -> None:
        settings = (
            f"-c listen_addresses='' -c unix_socket_directories={self._folder} "
            f"-c fsync={self._fsync}"
        )
        self._run("pg_ctl", "start", "-w", "-D", self._data, "-o", settings,
                  "-l", self._folder / "log")  # fmt: skip
        self.is_running = True

    def stop(self, mode: str = "fast") -> None:
        """Stop it: `fast` as for a restart, `immediate` as if it had crashed."""
        self._run("pg_ctl", "stop", "-w", "-D", self._data, "-m", mode)
        self.is_running = False

    def restart(self) -> None:
        self.stop()
        self.start()

    def _run(self, program: str, *arguments: str | Path) -> None:
        done = subprocess.run(
            [self._programs / program, *arguments],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            cwd=self._folder,
            text=True,
            timeout=60,
            check=False,
            **self._as_user,
        )
        if done.returncode:
            raise RuntimeError(f"{program} failed: {done.stderr}")


def _programs() -> Path:
    """Return the folder of the newest server there is, or of the one on the path."""
    found = sorted(
        Path(_PROGRAMS).glob("*/bin/initdb"), key=lambda path: float(path.parts[-3]), reverse=True
    )
    on_path = shutil.which("initdb")
    if found:
        return found[0].parent
    if on_path:
        return Path(on_path).resolve().parent
    raise RuntimeError(f"no PostgreSQL server is installed: no {_PROGRAMS}/*/bin/initdb")


def _unprivileged() -> pwd.struct_passwd:
    try:
        return pwd.getpwnam("postgres")
    except KeyError:
        return pwd.getpwnam("nobody")
