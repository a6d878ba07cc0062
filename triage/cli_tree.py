"""The commands that look after the content: proofs, pictures, schemas, likelihoods, priors."""

from __future__ import annotations

import argparse
import importlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

from triage.cli_parser import Parser, count


def add_tree_commands(commands: Any, *, shared: Parser, trees: Parser, store: Parser) -> None:
    """Add `tree …` to the command line's `commands`."""
    tree = commands.add_parser("tree", help="look after the content")
    parts = tree.add_subparsers(
        dest="tree_command", metavar="COMMAND", required=True, parser_class=Parser
    )

    check = parts.add_parser(
        "check", parents=[shared, trees], help="read and prove the content; exit 3 if it fails"
    )
    check.set_defaults(run=_later("triage.console.tree_check", "check_trees"))

    draw = parts.add_parser(
        "draw", parents=[shared, trees, store],
        help="a tree as a picture, as text, or on the screen",
        description="Draw a tree: stages, questions, cautions, endings and their safety gate. "
        "Examples: triage tree draw will_not_release --stage freeze --to freeze.svg; "
        "triage tree draw --session 20261125 --as mermaid",
    )  # fmt: skip
    draw.add_argument("tree", nargs="?", help="which tree (default: the call's, or the only one)")
    draw.add_argument(
        "--as", dest="form", choices=("terminal", "mermaid", "dot", "svg", "png"),
        help="form of the drawing; svg and png need Graphviz (default: by --to, else terminal)",
    )  # fmt: skip
    draw.add_argument(
        "--to", type=Path, metavar="FILE", help="a file; an older drawing there is replaced"
    )
    draw.add_argument(
        "--session", metavar="SESSION", help="mark the way of this stored call in the drawing"
    )
    draw.add_argument(
        "--stage", choices=("caller", "machine", "site", "freeze", "harvest", "confirm"),
        help="only this stage",
    )  # fmt: skip
    draw.add_argument("--part", metavar="NAME", help="only the part in this namespace")
    draw.add_argument(
        "--each-ending", action="store_true",
        help="each ending and its gate by itself, not folded into what leads to it",
    )  # fmt: skip
    draw.add_argument("--words", action="store_true", help="also the questions as they are put")
    draw.set_defaults(run=_later("triage.console.tree_draw", "draw_tree"))

    schema = parts.add_parser(
        "schema", parents=[trees], help="JSON Schemas, so that an editor checks files as you type",
        description="Print the JSON Schema of one kind of content file, with the ids of the "
        "content folder. Example: triage tree schema --trees my_trees --write schemas",
    )  # fmt: skip
    schema.add_argument(
        "kind", nargs="?", metavar="KIND",
        choices=("readings", "causes", "cautions", "tree", "part", "machine", "outcomes"),
        help="readings, causes, cautions, tree, part, machine or outcomes (default: tree)",
    )  # fmt: skip
    schema.add_argument(
        "--write", type=Path, metavar="DIR",
        help="write the schema of every kind into DIR, and say how an editor is told of them",
    )  # fmt: skip
    schema.set_defaults(run=_later("triage.console.tree_schema", "write_schema"))

    paths = parts.add_parser(
        "paths", parents=[shared, trees, store],
        help="count conversations, and tell which calls cover which nodes",
        description="How many conversations each tree holds, the shortest, the longest and the "
        "expected one, and which demo calls and recorded calls cover its nodes. What is not proved "
        "yet is told and does not stop it; only a circle does. Example: triage tree paths "
        "will_not_release",
    )  # fmt: skip
    paths.add_argument("tree", nargs="?", metavar="TREE", help="only this tree, with every node")
    paths.add_argument("--json", action="store_true", help="print one JSON object")
    paths.set_defaults(
        run=_later("triage.review.tree_paths", "show_paths", of_the_record=True), session=[]
    )

    tried = parts.add_parser(
        "try", parents=[shared, trees], help="hold a call through a draft; nothing is stored",
        description="Hold a call through a tree that is still being written, as if it were in the "
        "content folder, or through a part by itself. What is not proved yet is told and does not "
        "stop it; only a circle does, for a call would go round in it without end. Example: "
        "triage tree try my_tree.yaml --voice technician",
    )  # fmt: skip
    tried.add_argument("file", type=Path, metavar="FILE", help="the file of a tree or of a part")
    tried.add_argument(
        "--voice", choices=("agent", "technician"), help="words to read out, or for one alone"
    )
    tried.add_argument("--units", choices=("us", "si"), help="units shown first (default: us)")
    tried.add_argument("--answers", type=Path, metavar="FILE", help="a YAML or JSON answers file")
    tried.add_argument("--json", action="store_true", help="print one JSON object, nothing else")
    tried.set_defaults(run=_later("triage.console.tree_try", "try_tree"))

    diff = parts.add_parser(
        "diff", parents=[shared, trees, store],
        help="what changes for calls from one content to another; exit 1 if anything does",
        description="Tell what changes for calls: words, routes, repairs, and which conversations "
        "end otherwise. With one name, what changes if A takes the place of the content in use; "
        "with two, from A to B. Each is a content folder, or the file of a tree or part, which is "
        "put into the folder in use. With --store, recorded calls are replayed with both. "
        "Examples: triage tree diff my_trees; triage tree diff old_trees my_trees",
    )  # fmt: skip
    diff.add_argument(
        "first", type=Path, metavar="A",
        help="a content folder, tree or part: alone what would come, else what was before",
    )  # fmt: skip
    diff.add_argument("second", type=Path, nargs="?", metavar="B", help="what comes after A")
    diff.add_argument(
        "--examples", type=count, default=3, metavar="N",
        help="conversations told that end otherwise (default: 3)",
    )  # fmt: skip
    diff.add_argument("--json", action="store_true", help="print one JSON object")
    diff.set_defaults(
        run=_later("triage.review.tree_diff", "show_difference", of_the_record=True), session=[]
    )

    likelihoods = parts.add_parser(
        "likelihoods", parents=[trees], help="compute how each cause shows, from made-up calls",
        description="Draw made-up calls from the virtual machine, on all cores, and write "
        "likelihoods.json into the content folder. Interrupted, it goes on where it was.",
    )  # fmt: skip
    likelihoods.add_argument(
        "--places", type=count, default=10, metavar="N", help="weathers for each machine"
    )
    likelihoods.add_argument(
        "--draws", type=count, default=8, metavar="N", help="calls of each cause at a place"
    )
    likelihoods.add_argument("--seed", type=count, default=1, metavar="N", help="of the draws")
    likelihoods.add_argument(
        "--check", action="store_true", help="only see whether the file is fresh; exit 3 if not"
    )
    likelihoods.set_defaults(run=_later("triage.console.tree_likelihoods", "make_likelihoods"))

    priors = parts.add_parser(
        "priors", parents=[shared, trees, store],
        help="what repairs confirmed, and how often each cause is expected by it",
        description="Show the written prior of each cause, how many repairs confirmed it, and the "
        "prior corrected by them. Example: triage tree priors --trees my_trees --write",
    )  # fmt: skip
    priors.add_argument("tree", nargs="?", help="one tree (default: all)")
    priors.add_argument("--json", action="store_true", help="print one JSON object")
    priors.add_argument(
        "--write", action="store_true",
        help="write the counts as outcomes.json into the folder of --trees, so that calls go by it",
    )  # fmt: skip
    priors.set_defaults(run=_later("triage.console.tree_priors", "show_priors", of_the_record=True))


def _later(
    module: str, function: str, *, of_the_record: bool = False
) -> Callable[[argparse.Namespace], int]:
    """Return what imports `module` and calls its `function` once the command is chosen.

    of_the_record: whether what an outage left waiting on this computer goes into the record first
    """

    def run(options: argparse.Namespace) -> int:
        if of_the_record:
            from triage.console.left_waiting import write_what_waits

            write_what_waits(options.store)
        done: int = getattr(importlib.import_module(module), function)(options)
        return done

    return run
