"""A drill's caller as an answers file, which `triage call --answers` plays to its end."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from triage.drill.call import PracticeCall
from triage.drill.practice import Practice, words_given

NOTE = "practice call, invented: nobody called"


def answers_of(call: PracticeCall, practice: Practice) -> dict[str, Any]:
    """Return the keys and texts of the answers file.

    Everything the model answer asked for and everything the trainee asked for is in it. A reading
    whose words raise a doubt is confirmed.
    """
    asked = dict.fromkeys((*call.model.asked, *(item.reading for item in practice.asked)))
    texts: dict[str, str | list[str]] = {}
    for key in asked:
        words = words_given(call, call.engine.view.readings[key])
        texts[key] = [words, "yes"] if key in call.model.confirmed else words
    return {
        "about": f"Practice call {call.seed}, level {call.level.value}, invented",
        "notes": [f"{NOTE} (seed {call.seed}, level {call.level.value})"],
        "voice": "agent",
        "units": call.place.units.value,
        "acknowledge": "all",
        **texts,
    }


def write_answers(path: Path, call: PracticeCall, practice: Practice) -> None:
    """Write the answers file; a file that is there is left alone. Raises OSError."""
    answers = answers_of(call, practice)
    if path.suffix.lower() == ".json":
        text = json.dumps(answers, indent=2, ensure_ascii=False) + "\n"
    else:
        import yaml  # not before the drill is over

        text = yaml.safe_dump(answers, allow_unicode=True, sort_keys=False, width=90)
    with path.open("x", encoding="utf-8") as file:
        file.write(text)
