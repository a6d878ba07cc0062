"""The door: parse the command line, call one function, pick the exit code.

Exit codes: 0 done; 1 ended without a recommendation (withheld, escalated, unfinished); 2 usage or
bad input; 3 content failed its proofs or cannot be read; 4 store unreachable or damaged, or another
desk has gone on with the call; 130 interrupted.
"""

from __future__ import annotations

import argparse
import io
import os
import sys
from collections.abc import Callable, Sequence
from contextlib import suppress
from pathlib import Path

from triage import __version__
from triage.cli_parser import Parser, seed
from triage.cli_record import add_record_commands
from triage.cli_tree import add_tree_commands
from triage.exits import DONE, INTERRUPTED

_ABOUT = """Guided triage for a batch ice machine, by phone or alone at a terminal.

  triage demo                            play an invented call from start to end
  triage call                            take a call (agent's words)
  triage call --voice technician         alone at the machine
  triage call --answers FILE --json      a scripted call, one JSON object out
  triage resume ID                       go on where a call was left
  triage drill                           practice on an invented caller
"""

_CODES = """exit codes: 0 done, 1 ended without a recommendation, 2 usage or bad input,
3 content failed its proofs, 4 store unreachable or damaged, 130 interrupted"""


def build_parser() -> argparse.ArgumentParser:
    """Return the parser of the whole command line."""
    shared = Parser(add_help=False)
    shared.add_argument(
        "--color", choices=("auto", "always", "never"), default="auto",
        help="color on the screen (default: auto; NO_COLOR and FORCE_COLOR are heeded)",
    )  # fmt: skip
    shared.add_argument(
        "--plain", action="store_true", help="no boxes, no redraws: for screen readers"
    )
    units = Parser(add_help=False)
    units.add_argument("--units", choices=("us", "si"), help="units shown first (default: us)")
    trees = Parser(add_help=False)
    trees.add_argument("--trees", type=Path, metavar="DIR", help="content folder instead of ours")
    store = Parser(add_help=False)
    store.add_argument(
        "--store", metavar="URL", default=os.environ.get("TRIAGE_STORE") or None,
        help="a file or a database URL (default: $TRIAGE_STORE, else a file of your own)",
    )  # fmt: skip

    parser = Parser(
        prog="triage", description=_ABOUT, epilog=_CODES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )  # fmt: skip
    parser.add_argument("--version", action="version", version=f"triage {__version__}")
    commands = parser.add_subparsers(
        dest="command", metavar="COMMAND", required=True, parser_class=Parser
    )

    call = commands.add_parser(
        "call", parents=[shared, units, trees, store], help="take a call",
        description="Take a call. Example: triage call --voice technician --units si",
    )  # fmt: skip
    call.add_argument(
        "--voice", choices=("agent", "technician"),
        help="words to read out on the phone, or for a technician alone (default: agent)",
    )  # fmt: skip
    call.add_argument("--answers", type=Path, metavar="FILE", help="a YAML or JSON answers file")
    call.add_argument("--json", action="store_true", help="print one JSON object, nothing else")
    call.add_argument(
        "--altitude", metavar="HEIGHT", help='height of the site, as "5000 ft" or "1600 m"'
    )
    call.add_argument("--agent", default="", metavar="NAME", help="who takes the call")
    call.add_argument(
        "--serial", default="", metavar="NUMBER", help="serial number on the machine's data plate"
    )
    call.add_argument("--tree", default="will_not_release", help=argparse.SUPPRESS)
    call.add_argument("--vi", action="store_true", help="vi editing keys at the prompt")
    call.set_defaults(run=_call)

    resume = commands.add_parser(
        "resume", parents=[shared, trees, store], help="go on with a call that was left",
        description="Go on with a call. Example: triage resume 20261125",
    )  # fmt: skip
    resume.add_argument(
        "session", nargs="?", help="session id, its beginning, or its last part; without it, asks"
    )
    resume.add_argument("--agent", default="", metavar="NAME", help="who goes on with it")
    resume.add_argument("--vi", action="store_true", help="vi editing keys at the prompt")
    resume.set_defaults(run=_resume)

    add_record_commands(commands, shared=shared, units=units, trees=trees, store=store)

    expect = commands.add_parser(
        "expect", parents=[shared, units, trees], help="what a healthy machine should show",
        description='Example: triage expect MACHINE --air "70 F" --water "60 F"; '
        "without a machine, the machines on file are listed.",
    )  # fmt: skip
    expect.add_argument("machine", nargs="?", help="machine id or name")
    expect.add_argument("--refrigerant", help="judge a typical machine, or another refrigerant")
    expect.add_argument(
        "--condenser", choices=("remote_air", "air", "water"), help="of a typical machine"
    )
    expect.add_argument("--air", help="air at the machine")
    expect.add_argument("--condenser-air", help="air at a remote condenser (default: --air)")
    expect.add_argument("--water", help="water at the inlet")
    expect.add_argument("--altitude", metavar="HEIGHT", help='as "5000 ft"')
    expect.add_argument("--json", action="store_true", help="print one JSON object")
    expect.set_defaults(run=_expect)

    gas = commands.add_parser(
        "gas", parents=[shared, units], help="the refrigerant pocket calculator",
        description='Examples: triage gas R-404A --pressure "62 psi"; '
        'triage gas R-410A --suction "60 psi" --suction-temperature "20 F" '
        '--discharge "300 psi"; triage gas R-290 --temperature -20C --units si',
    )  # fmt: skip
    gas.add_argument("refrigerant", help="as R-404A, 404a, propane")
    gas.add_argument("--pressure", help="gauge pressure: saturation temperatures")
    gas.add_argument("--temperature", help="temperature: saturation pressures")
    gas.add_argument("--suction", help="suction pressure: superheat, discharge temperature")
    gas.add_argument("--suction-temperature", help="suction line temperature")
    gas.add_argument("--discharge", help="discharge pressure: ratio, discharge temperature")
    gas.add_argument("--liquid-temperature", help="liquid line temperature: subcooling")
    gas.add_argument(
        "--efficiency", default="0.65", help="isentropic efficiency, 0.3 to 1 (default: 0.65)"
    )
    gas.add_argument(
        "--exact", action="store_true", help="also ask CoolProp itself, and show the difference"
    )
    gas.add_argument("--altitude", metavar="HEIGHT", help='as "5000 ft"')
    gas.add_argument("--json", action="store_true", help="print one JSON object")
    gas.set_defaults(run=_gas)

    add_tree_commands(commands, shared=shared, trees=trees, store=store)

    demo = commands.add_parser(
        "demo", parents=[shared], help="play an invented call",
        description="Play an invented call from start to end, without typing. It is not stored. "
        "Example: triage demo 01_receiver_vapor_feed_agent_us",
    )  # fmt: skip
    demo.add_argument("name", nargs="?", help="which call (default: the first)")
    demo.add_argument("--list", action="store_true", help="name the calls there are")
    demo.add_argument(
        "--write", type=Path, metavar="DIR", help="render every call of DIR beside its answers"
    )
    demo.set_defaults(run=_demo)

    drill = commands.add_parser(
        "drill", parents=[shared, units, trees], help="practice on an invented caller",
        description="A caller stands before a machine with a hidden fault: ask for readings by "
        "their names, propose the cause, and look back at it. Exit code 0 if the cause was found. "
        "Example: triage drill --level easy --trainee Ana",
    )  # fmt: skip
    drill.add_argument(
        "--level", choices=("easy", "usual", "hard"), default="usual",
        help="how plain the fault is, and how much is shown (default: usual)",
    )  # fmt: skip
    drill.add_argument(
        "--seed", type=seed, metavar="N", help="the same call again (default: drawn and shown)"
    )
    drill.add_argument("--machine", metavar="NAME", help="a machine on file (default: drawn)")
    drill.add_argument("--cause", metavar="CAUSE", help="the hidden fault, for a trainer")
    drill.add_argument("--trainee", default="", metavar="NAME", help="who practices")
    drill.add_argument(
        "--export", type=Path, metavar="FILE", help="write the caller as a new answers file"
    )
    drill.add_argument(
        "--results", action="store_true", help="sum up the drills so far, by trainee"
    )
    drill.add_argument("--vi", action="store_true", help="vi editing keys at the prompt")
    drill.set_defaults(run=_drill)
    return parser


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line and return its exit code; nothing is raised."""
    _steady_streams()
    try:
        code = _run(arguments)
        # Here and not when the interpreter ends: there a failed flush can only complain.
        sys.stdout.flush()
    except KeyboardInterrupt:
        return INTERRUPTED
    except BrokenPipeError:  # the reader went away: a pager, head
        _stop_writing()
        return DONE
    except Exception as error:  # noqa: BLE001 - the last border: every error becomes one line
        from triage.console.aside import write_aside
        from triage.console.failures import exit_code_of

        if isinstance(error, OSError):
            _stop_writing()
        code, message = exit_code_of(error)
        write_aside(message)
    return code


def _run(arguments: Sequence[str] | None) -> int:
    try:
        options = build_parser().parse_args(arguments)
        run: Callable[[argparse.Namespace], int] = options.run
        return run(options)
    except SystemExit as left:
        # argparse leaves so after its help or its error, rich where its reader went away.
        if isinstance(left.__context__, BrokenPipeError):
            raise BrokenPipeError from left
        return left.code if isinstance(left.code, int) else DONE


def _steady_streams() -> None:
    """Stand in for streams closed by whoever started us; never fail on a letter of the output."""
    for name, mode in (("stdin", "r"), ("stdout", "w"), ("stderr", "w")):
        if getattr(sys, name) is None:
            setattr(sys, name, os.fdopen(os.open(os.devnull, os.O_RDWR), mode, encoding="utf-8"))
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(errors="replace")


def _stop_writing() -> None:
    """Send what is still to be flushed nowhere; output that failed once would fail again."""
    with suppress(OSError, ValueError):  # a stream without a descriptor
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _call(options: argparse.Namespace) -> int:
    from triage.console.call import take_call

    return take_call(options)


def _resume(options: argparse.Namespace) -> int:
    from triage.console.call import resume_call

    return resume_call(options)


def _expect(options: argparse.Namespace) -> int:
    from triage.console.expect import print_expected

    return print_expected(options)


def _gas(options: argparse.Namespace) -> int:
    from triage.console.gas import print_gas

    return print_gas(options)


def _demo(options: argparse.Namespace) -> int:
    from triage.console.demo import play_demo

    return play_demo(options)


def _drill(options: argparse.Namespace) -> int:
    from triage.console.drill import drill

    return drill(options)
