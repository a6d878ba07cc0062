"""The commands over the record of calls: parked calls, outcomes, review, export, retention."""

from __future__ import annotations

import argparse
import importlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

from triage.cli_parser import Parser, count

RESULTS = ("recommended", "withheld", "escalated", "open")
"""How calls end; an open one has not ended."""

_SESSION = "session id, its beginning, or its last part"
_SESSIONS = "session ids; without any, all that the filters let through"


def add_record_commands(
    commands: Any, *, shared: Parser, units: Parser, trees: Parser, store: Parser
) -> None:
    """Add `parked`, `outcome` and `log …` to the command line's `commands`."""
    as_json = Parser(add_help=False)
    as_json.add_argument("--json", action="store_true", help="print one JSON object")
    filters = _filters()

    parked = commands.add_parser(
        "parked", parents=[shared, trees, store, as_json],
        help="parked calls: due, overdue, waiting",
        description="Calls that wait for their machine, the longest overdue first. "
        "Example: triage parked --agent Ana",
    )  # fmt: skip
    parked.add_argument("--agent", default="", metavar="NAME", help="only those this agent parked")
    parked.add_argument("--due", action="store_true", help="only those due and overdue")
    parked.set_defaults(run=_later("triage.review.parked", "list_parked", tells_of_others=True))

    outcome = commands.add_parser(
        "outcome", parents=[shared, units, trees, store, as_json],
        help="record what the repair found",
        description="Record what came of a call. Without options it asks, at a terminal. Example: "
        'triage outcome 20261125 --found harvest_coil_open --part "coil" --good-cycles yes '
        '--reading "harvest_suction_pressure=120 psi at 1 min"',
    )  # fmt: skip
    outcome.add_argument("session", help=_SESSION)
    outcome.add_argument(
        "--found", action="append", default=[], metavar="CAUSE",
        help="a cause, no_fault_found or other_fault; may be given again",
    )  # fmt: skip
    outcome.add_argument(
        "--part", action="append", default=[], metavar="NAME",
        help="a part that was replaced, or all that the repair replaces together; may be repeated",
    )  # fmt: skip
    outcome.add_argument(
        "--good-cycles", choices=("yes", "no", "unknown"),
        help="whether two good cycles followed",
    )  # fmt: skip
    outcome.add_argument(
        "--reading", action="append", default=[], metavar="ID=VALUE",
        help="a reading after the repair; may be given again",
    )  # fmt: skip
    outcome.add_argument(
        "--accept-odd-readings", action="store_true",
        help="keep readings that cannot well be true; they were read so",
    )  # fmt: skip
    outcome.add_argument(
        "--although-open", action="store_true", help="report on a call that has not come to its end"
    )
    outcome.add_argument("--note", default="", metavar="TEXT", help="anything else")
    outcome.add_argument("--by", default="", metavar="NAME", help="who reports it")
    outcome.set_defaults(run=_later("triage.review.outcome", "record_outcome"))

    log = commands.add_parser("log", help="look at stored calls")
    parts = log.add_subparsers(
        dest="log_command", metavar="COMMAND", required=True, parser_class=Parser
    )

    listed = parts.add_parser(
        "list", parents=[shared, trees, store, filters, as_json],
        help="stored calls, latest first",
        description="Stored calls, latest first. Example: triage log list --since 2026-11-01 "
        '--machine gletsch_r500 --disagreement --text "rattles"',
    )  # fmt: skip
    listed.add_argument("--most", type=count, default=50, metavar="N", help="at most N calls")
    listed.add_argument(
        "--before", metavar="SESSION", help="go on behind this call, the last one of a page"
    )
    listed.set_defaults(run=_later("triage.review.log", "list_calls"))

    show = parts.add_parser(
        "show", parents=[shared, trees, store, as_json], help="one call as it was on the screen"
    )
    show.add_argument("session", help=_SESSION)
    show.set_defaults(run=_later("triage.review.log", "show_call"))

    replay = parts.add_parser(
        "replay", parents=[shared, trees, store, filters, as_json],
        help="run stored answers through today's trees; exit 1 if any call differs",
        description="Run the stored answers of calls through today's content (or that of --trees) "
        "and tell what differs: path, conclusion, result. Example: triage log replay 20261125",
    )  # fmt: skip
    _of_calls(replay)
    replay.set_defaults(run=_later("triage.review.replay_command", "replay_calls"))

    audit = parts.add_parser(
        "audit", parents=[shared, trees, store, filters, as_json],
        help="hold calls against the rules of a good call; exit 1 if any breaks one",
        description="Hold stored calls against the rules of a good call, with the reason for each "
        "finding. Example: triage log audit --since 2026-11-01",
    )  # fmt: skip
    _of_calls(audit)
    audit.add_argument(
        "--rule",
        action="append",
        default=[],
        metavar="NAME",
        help="only this rule; may be repeated",
    )
    audit.add_argument("--rules", action="store_true", help="list the rules and why they are there")
    audit.set_defaults(run=_later("triage.review.audit_command", "audit_calls"))

    figures = parts.add_parser(
        "figures", parents=[shared, trees, store, as_json],
        help="volumes, times, stops, outcomes, repeat calls, desks and questions",
        description="What the record says in numbers. Example: triage log figures "
        "--since 2026-01-01 --images plots",
    )  # fmt: skip
    figures.add_argument("--since", metavar="DATE", help="calls started on this day or later")
    figures.add_argument("--until", metavar="DATE", help="calls started before this day")
    figures.add_argument("--images", type=Path, metavar="DIR", help="also write plots as images")
    figures.set_defaults(run=_later("triage.review.figures_command", "show_figures"))

    verify = parts.add_parser(
        "verify", parents=[shared, store, as_json],
        help="prove the record whole: altered, dropped, moved or added events; exit 4 if not",
        description="Check every hash of the record, or of one session, and name what was "
        "altered, dropped, reordered or inserted.",
    )  # fmt: skip
    verify.add_argument("session", nargs="?", help=_SESSION)
    verify.add_argument(
        "--against", metavar="MARK",
        help="a mark that an earlier verify printed, or a file that it kept",
    )  # fmt: skip
    verify.add_argument(
        "--keep",
        type=Path,
        metavar="FILE",
        help="write what stands at the end of each session, to hold the record against later",
    )
    verify.set_defaults(run=_later("triage.review.verify", "verify_record", tells_of_others=True))

    export = parts.add_parser(
        "export", parents=[shared, units, trees, store, filters],
        help="calls as JSON Lines, CSV, Markdown or one page of HTML",
        description="Write calls for other programs and people; personal data is left out unless "
        "asked for. Example: triage log export 20261125 --as html --to call.html",
    )  # fmt: skip
    _of_calls(export)
    export.add_argument(
        "--as", dest="form", choices=("jsonl", "csv", "markdown", "html"), required=True,
        help="form of the export",
    )  # fmt: skip
    export.add_argument(
        "--to", type=Path, metavar="PATH",
        help="a file, or for several pages a folder (default: standard output)",
    )  # fmt: skip
    export.add_argument(
        "--with-personal-data", action="store_true",
        help="keep names, serial numbers, notes and lines as typed",
    )  # fmt: skip
    export.set_defaults(run=_later("triage.review.export_command", "export_calls"))

    purge = parts.add_parser(
        "purge", parents=[shared, store, as_json],
        help="delete the events of old calls; the chain stays verifiable",
        description="Delete what was said in calls that were last touched before a day. A line "
        "without personal data stays for the figures, and what proves the record whole.",
    )  # fmt: skip
    purge.add_argument(
        "--before", required=True, metavar="DATE", help="last touched before this day"
    )
    purge.add_argument("--reason", default="", metavar="TEXT", help="kept with the purge")
    purge.add_argument("--by", default="", metavar="NAME", help="who purges")
    purge.add_argument("--yes", action="store_true", help="do not ask")
    purge.set_defaults(run=_later("triage.review.purge", "purge_calls"))


def _of_calls(parser: Parser) -> None:
    """Add which calls a command is for, beside the filters."""
    parser.add_argument("session", nargs="*", help=_SESSIONS)
    parser.add_argument("--most", type=count, default=None, metavar="N", help="at most N calls")


def _filters() -> Parser:
    parser = Parser(add_help=False)
    group = parser.add_argument_group("filters")
    group.add_argument("--since", metavar="DATE", help="started on this day (UTC) or later")
    group.add_argument("--until", metavar="DATE", help="started before this day (UTC)")
    group.add_argument(
        "--agent", metavar="NAME",
        help="who took the call or was at it last; none for calls without a name",
    )  # fmt: skip
    group.add_argument("--machine", metavar="NAME", help="machine id or name")
    group.add_argument("--refrigerant", metavar="NAME", help="as R-404A, 404a, propane")
    group.add_argument("--serial", metavar="NUMBER", help="serial number of the machine")
    group.add_argument("--conclusion", metavar="CAUSE", help="the cause concluded")
    ended = group.add_mutually_exclusive_group()
    ended.add_argument("--result", choices=RESULTS, help="how the call ended")
    ended.add_argument(
        "--withheld", dest="result", action="store_const", const="withheld",
        help="the same as --result withheld",
    )  # fmt: skip
    group.add_argument("--disagreement", action="store_true", help="path and ranking disagreed")
    group.add_argument(
        "--outcome", metavar="CAUSE", help="what the repair found; any, or none for no report yet"
    )
    group.add_argument("--text", metavar="WORDS", help="words in the notes, all of them")
    return parser


def _later(
    module: str, function: str, *, tells_of_others: bool = False
) -> Callable[[argparse.Namespace], int]:
    """Return what imports `module` and calls its `function` once the command is chosen.

    What an outage left waiting on this computer goes into the record first.

    tells_of_others: whether what waits for other records is told
    """

    def run(options: argparse.Namespace) -> int:
        from triage.console.left_waiting import tell_of_others, write_what_waits

        write_what_waits(options.store)
        if tells_of_others:
            tell_of_others(options.store)
        done: int = getattr(importlib.import_module(module), function)(options)
        return done

    return run
