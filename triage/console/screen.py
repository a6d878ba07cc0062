"""The screen that the command line's options ask for."""

from __future__ import annotations

import argparse
import os
import sys

from triage.console.look import ChatConsole, ColorChoice, choose_look


def screen_of(options: argparse.Namespace) -> ChatConsole:
    """Return the console on standard output, in the look asked for."""
    look = choose_look(ColorChoice(options.color), sys.stdout, os.environ, is_plain=options.plain)
    return ChatConsole(look, sys.stdout)
