"""The command line in tests: in this process or as a program of its own, in folders of its own."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import yaml

from tests.conversation import FEED_FAILED

ROOT = Path(__file__).resolve().parent.parent

UNLICENSED = {**FEED_FAILED, "caller_qualification": "no, I own the place"}
"""The failed-feed caller without license: the call is handed over."""


def environment(home: Path, cache: Path | None = None) -> dict[str, str]:
    """Return an environment whose folders lie under `home`; output is buffered as in a shell."""
    kept = {
        key: value
        for key, value in os.environ.items()
        if not key.startswith(("PYTHON", "TRIAGE_", "XDG_"))
        and key not in ("NO_COLOR", "FORCE_COLOR", "COLUMNS")
    }
    return {
        **kept,
        "HOME": str(home),
        "XDG_DATA_HOME": str(home / "data"),
        "XDG_STATE_HOME": str(home / "state"),
        "XDG_CACHE_HOME": str(cache or home / "cache"),
        "PYTHONPATH": str(ROOT),
        "PYTHONDONTWRITEBYTECODE": "1",
        "COLUMNS": "80",
    }


def program(
    *arguments: str | Path,
    env: Mapping[str, str],
    folder: Path = ROOT,
    before: Callable[[], None] | None = None,
    **streams: Any,
) -> subprocess.CompletedProcess[str]:
    """Return how `python -m triage` with these arguments ended; no terminal anywhere."""
    streams = {"stdin": subprocess.DEVNULL, "stdout": subprocess.PIPE, **streams}
    return subprocess.run(
        [sys.executable, "-m", "triage", *map(str, arguments)],
        env=dict(env),
        cwd=folder,
        preexec_fn=before,
        stderr=subprocess.PIPE,
        text=True,
        timeout=60,
        check=False,
        **streams,
    )


def answers_file(folder: Path, answers: Mapping[str, Any], **besides: Any) -> Path:
    """Return the path of a new answers file in `folder`."""
    path = folder / "call.yaml"
    texts = {key: str(value) if not isinstance(value, list) else value
             for key, value in {**answers, **besides}.items()}  # fmt: skip
    path.write_text(yaml.safe_dump(texts, allow_unicode=True), encoding="utf-8")
    return path
