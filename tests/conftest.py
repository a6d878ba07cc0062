"""Folders of its own for every test that goes through the command line."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.command_line import environment
from tests.private_server import PrivateServer


@pytest.fixture(scope="session")
def content_cache(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a cache folder all tests share, so that the content is proved once."""
    return tmp_path_factory.mktemp("cache")


@pytest.fixture
def own_folders(
    tmp_path: Path, content_cache: Path, monkeypatch: pytest.MonkeyPatch
) -> dict[str, str]:
    """Return the environment of a user with empty folders; it holds in this process too."""
    home = tmp_path / "home"
    home.mkdir()
    env = environment(home, content_cache)
    for name in ("HOME", "XDG_DATA_HOME", "XDG_STATE_HOME", "XDG_CACHE_HOME", "COLUMNS"):
        monkeypatch.setenv(name, env[name])
    for name in ("TRIAGE_STORE", "NO_COLOR", "FORCE_COLOR"):
        monkeypatch.delenv(name, raising=False)
    return env


@pytest.fixture(scope="session")
def server_of_this_run() -> Iterator[PrivateServer]:
    """Return a PostgreSQL server of our own; it fails where none is installed."""
    with PrivateServer() as server:
        yield server


@pytest.fixture
def own_server(server_of_this_run: PrivateServer) -> Iterator[PrivateServer]:
    """Return a running PostgreSQL server that the test may stop."""
    yield server_of_this_run
    if not server_of_this_run.is_running:
        server_of_this_run.start()
