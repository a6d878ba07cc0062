"""Who decides about color, and what each kind of screen gets."""

from __future__ import annotations

from io import BytesIO, StringIO, TextIOWrapper

import pytest
from rich.text import Text

from tests.console.conftest import Shown
from triage.console.look import Card, ChatConsole, ColorChoice, Look, Margin, choose_look

AUTO, ALWAYS, NEVER = ColorChoice.AUTO, ColorChoice.ALWAYS, ColorChoice.NEVER


class Terminal(StringIO):
    encoding = "utf-8"

    def isatty(self) -> bool:
        return True


@pytest.mark.parametrize(("choice", "is_terminal", "environ", "has_styles", "has_color"), [
    (AUTO, True, {}, True, True),
    (AUTO, False, {}, False, False),
    (AUTO, True, {"NO_COLOR": "1"}, True, False),
    (AUTO, True, {"NO_COLOR": ""}, True, True),
    (AUTO, False, {"FORCE_COLOR": "1"}, True, True),
    (AUTO, False, {"FORCE_COLOR": ""}, False, False),
    (AUTO, True, {"NO_COLOR": "1", "FORCE_COLOR": "1"}, True, False),
    (AUTO, False, {"NO_COLOR": "1", "FORCE_COLOR": "1"}, False, False),
    (AUTO, True, {"TERM": "dumb"}, False, False),
    (ALWAYS, False, {"NO_COLOR": "1", "TERM": "dumb"}, True, True),
    (NEVER, True, {"FORCE_COLOR": "1"}, False, False),
])  # fmt: skip
def test_option_wins_over_environment_and_environment_over_terminal(
    choice: ColorChoice,
    is_terminal: bool,
    environ: dict[str, str],
    has_styles: bool,
    has_color: bool,
) -> None:
    stream = Terminal() if is_terminal else StringIO()
    look = choose_look(choice, stream, environ)
    assert (look.has_styles, look.has_color) == (has_styles, has_color)


def test_dumb_terminal_gets_plain_lines() -> None:
    assert choose_look(AUTO, Terminal(), {"TERM": "dumb"}).is_plain
    assert not choose_look(AUTO, StringIO(), {"TERM": "dumb"}).is_plain


def test_never_writes_no_escape_codes_at_all(shown: Shown, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("FORCE_COLOR", "1")
    look = choose_look(NEVER, Terminal(), {"FORCE_COLOR": "1"})
    assert "\x1b" not in shown(Text("warned", style="triage.caution"), look=look)


def test_no_color_keeps_bold_and_drops_color(shown: Shown) -> None:
    text = shown(
        Text("warned", style="triage.caution"), look=Look(has_styles=True, has_color=False)
    )
    assert text == "\x1b[1mwarned\x1b[0m\n"


def test_stream_that_is_not_utf_gets_seven_bit_characters() -> None:
    stream = TextIOWrapper(BytesIO(), encoding="ascii")
    look = choose_look(AUTO, stream, {})
    console = ChatConsole(look, stream, 40)
    console.print(Margin("heard", Text("70 °F — ½ in, 18 Ω, 氷")))
    console.print(Card("CAUTION", Text("mind")))
    stream.flush()
    assert stream.buffer.getvalue().decode("ascii").splitlines() == [  # type: ignore[attr-defined]
        " heard | 70 F - 1/2 in, 18 ohm, ?",
        "+- CAUTION",
        "|  mind",
        "+" + "-" * 39,
    ]


def test_plain_look_has_no_bars_and_no_rules(shown: Shown) -> None:
    text = shown(
        Margin("ask", Text("Is it even?")), Card("CAUTION", Text("mind")), look=Look(is_plain=True)
    )
    assert text == "ask: Is it even?\nCAUTION.\nmind\n"


def test_text_is_never_taken_for_markup(shown: Shown) -> None:
    assert shown("[bold]12[/bold] :ice: [12]") == "[bold]12[/bold] :ice: [12]\n"


def test_lines_of_prose_stay_readable_on_a_wide_screen(shown: Shown) -> None:
    text = shown(Margin("ask", Text("ice " * 100)), width=240)
    assert max(map(len, text.splitlines())) <= 100
