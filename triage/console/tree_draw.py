"""`triage tree draw`: a tree as a picture, as text for other programs, or in the terminal."""

from __future__ import annotations

import argparse
import sys
from dataclasses import dataclass
from pathlib import Path

from triage.console.aside import write_aside
from triage.console.asked import UsageError
from triage.console.unproved import content_to_look_at, not_proved
from triage.exits import DONE
from triage.tree.content import Content, Stage
from triage.tree.drawing.sketch import Sketch
from triage.tree.drawing.sketching import Cut, NothingToDraw, sketch_of
from triage.tree.drawing.trail import Trail
from triage.tree.graph import plan_tree

ENDINGS = {
    "terminal": (".txt",),
    "mermaid": (".mmd", ".mermaid"),
    "dot": (".dot", ".gv"),
    "svg": (".svg",),
    "png": (".png",),
}
"""The forms of a drawing, and how their files end."""

LONGEST_MERMAID = 50_000
"""Characters after which Mermaid itself refuses a text by its default, `maxTextSize`. Source: the
configuration schema in Mermaid's documentation, version 11."""

_WIDTH_IN_FILE = 100


def draw_tree(options: argparse.Namespace) -> int:
    """Draw one tree of the content; return the exit code.

    Raises ContentErrors, UnknownTree, StoreError, UsageError, and OSError for a file that cannot be
    written.
    """
    form = _form(options)
    if form == "png" and options.to is None and sys.stdout.isatty():
        raise UsageError("a PNG is nothing for a terminal; name a file with --to FILE.png")
    drawing = _Drawing(form, _sketch(options), is_folded=not options.each_ending)
    if form == "terminal" and options.to is None:
        _show(drawing, options)
        return DONE
    data = drawing.data()
    if options.to is not None:
        _write(options.to, data)
        write_aside(f"drawn to {options.to}")
    elif form == "png":
        sys.stdout.flush()
        sys.stdout.buffer.write(data)
    else:
        sys.stdout.write(data.decode())
    return DONE


@dataclass(frozen=True, slots=True)
class _Drawing:
    form: str
    sketch: Sketch
    is_folded: bool

    def data(self) -> bytes:
        """Return what a file of this form holds."""
        match self.form:
            case "terminal":
                return _shown_plainly(self).encode()
            case "mermaid":
                from triage.tree.drawing.mermaid import mermaid_text

                text = mermaid_text(self.sketch, is_folded=self.is_folded)
                if len(text) > LONGEST_MERMAID:
                    write_aside(
                        f"this is more than the {LONGEST_MERMAID:,} characters that Mermaid reads "
                        "unless told otherwise; --stage or --part draws less"
                    )
                return text.encode()
            case _:
                from triage.tree.drawing.dot import dot_text

                text = dot_text(self.sketch, is_folded=self.is_folded)
                if self.form == "dot":
                    return text.encode()
                from triage.console.graphviz import laid_out

                return laid_out(text, self.form)


def _form(options: argparse.Namespace) -> str:
    """Return the form asked for: by name, or by how the file is to end."""
    if options.to is None:
        return options.form or "terminal"
    ending = options.to.suffix.lower()
    fits = [form for form, endings in ENDINGS.items() if ending in endings]
    if options.form and options.form not in fits:
        good = " or ".join(ENDINGS[options.form])
        raise UsageError(f"{options.to}: a file of this form ends in {good}; name it so")
    if not fits:
        every = ", ".join(end for endings in ENDINGS.values() for end in endings)
        raise UsageError(
            f"{options.to}: the end of its name says no form; end it in one of {every}"
        )
    return fits[0]


def _sketch(options: argparse.Namespace) -> Sketch:
    from triage.dialogue.drawn import gates_of

    about: tuple[str, ...] = ()
    trail: Trail | None = None
    if options.session:
        content, tree_id, trail = _of_call(options)
    else:
        content, broken = content_to_look_at(options)
        if broken:
            about = (not_proved(broken),)
            write_aside(about[0])
        tree_id = options.tree or _only_tree(content)
    plan = plan_tree(content, tree_id)
    cut = Cut(Stage(options.stage) if options.stage else None, options.part or "")
    try:
        return sketch_of(
            content, plan, gates_of(content, plan.tree), cut, trail, about,
            with_words=options.words,
        )  # fmt: skip
    except NothingToDraw as error:
        raise UsageError(str(error)) from error


def _of_call(options: argparse.Namespace) -> tuple[Content, str, Trail]:
    """Return the content, the tree and the trail of the stored call that the options name."""
    from triage.console.call import content_of, engine_of, started_of, stored_session
    from triage.console.left_waiting import write_what_waits
    from triage.dialogue.case import fold
    from triage.dialogue.drawn import trail_of

    write_what_waits(options.store)
    session_id, stored = stored_session(options)
    events = [item.event for item in stored]
    content = content_of(options)
    case = fold(events)
    engine = engine_of(content, started_of(events).tree).of(case)
    if options.tree and options.tree != engine.tree.id:
        raise UsageError(
            f"call {session_id} went through tree {engine.tree.id}; leave the name of the tree out"
        )
    return content, engine.tree.id, trail_of(engine, case, session_id)


def _only_tree(content: Content) -> str:
    if len(content.trees) == 1:
        return next(iter(content.trees))
    listed = "; ".join(f"{tree.id} ({tree.title})" for tree in content.trees.values())
    raise UsageError(f"name the tree to draw: {listed}")


def _show(drawing: _Drawing, options: argparse.Namespace) -> None:
    from triage.console.screen import screen_of
    from triage.console.tree_outline import Outline
    from triage.tree.drawing.outline import outline_of

    screen_of(options).print(Outline(outline_of(drawing.sketch, is_folded=drawing.is_folded)))


def _shown_plainly(drawing: _Drawing) -> str:
    from io import StringIO

    from triage.console.look import ChatConsole, Look
    from triage.console.tree_outline import Outline
    from triage.tree.drawing.outline import outline_of

    stream = StringIO()
    console = ChatConsole(Look(), stream, _WIDTH_IN_FILE)
    console.print(Outline(outline_of(drawing.sketch, is_folded=drawing.is_folded)))
    return stream.getvalue()


def _write(path: Path, data: bytes) -> None:
    """Write a file whole or not at all; an older drawing of that name is replaced."""
    unfinished = path.with_name(f"{path.name}.unfinished")
    unfinished.write_bytes(data)
    unfinished.replace(path)
