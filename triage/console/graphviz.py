"""Pictures laid out by Graphviz, where it is installed."""

from __future__ import annotations

import shutil
import subprocess

from triage.console.aside import write_aside
from triage.console.asked import UsageError
from triage.dialogue.words import plain_text

LONGEST_S = 120.0
"""How long a layout may take; beyond it a smaller cut is what is wanted (judged)."""

_INSTEAD = "or use --as mermaid"


def laid_out(dot: str, form: str) -> bytes:
    """Return the picture, svg or png, that Graphviz makes of DOT text.

    Raises UsageError where Graphviz is missing, fails or takes too long.
    """
    program = shutil.which("dot")
    if program is None:
        raise UsageError(
            f"{form.upper()} needs Graphviz, and there is no program dot; install it (as in apt "
            f"install graphviz), {_INSTEAD}"
        )
    try:
        ended = subprocess.run(
            [program, f"-T{form}"], input=dot.encode(), capture_output=True, timeout=LONGEST_S,
            check=False,
        )  # fmt: skip
    except subprocess.TimeoutExpired as error:
        raise UsageError(
            f"Graphviz was not done after {LONGEST_S:g} s; draw less with --stage or --part, "
            f"{_INSTEAD}"
        ) from error
    except OSError as error:
        raise UsageError(f"{program} cannot be run ({error.strerror}); {_INSTEAD}") from error
    said = plain_text(ended.stderr.decode(errors="replace"), 200)
    if ended.returncode != 0 or not ended.stdout:
        raise UsageError(f"Graphviz failed ({said or ended.returncode}); {_INSTEAD}")
    if "too large" in said:
        write_aside("the picture was made smaller to fit a PNG; --as svg keeps its size")
    return ended.stdout
