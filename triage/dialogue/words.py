"""What words mean at any prompt: yes, no, not known, and the words that steer the call.

Whatever a person types or a file holds passes through `plain_text` first, and again on its way to
a terminal.
"""

from __future__ import annotations

import re
import unicodedata
from functools import lru_cache

MOST_CHARACTERS = 4000
"""Longest text kept; a longer one is cut and ends in an ellipsis."""

_DECOMPOSED_SAFELY = ("<wide>", "<narrow>", "<noBreak>", "<compat>", "<square>", "<font>")
_INVISIBLE = frozenset("\u115f\u1160\u17b4\u17b5\u2800\u3164\uffa0\u034f")
_MOST_MARKS = 2


def plain_text(text: str, limit: int = MOST_CHARACTERS) -> str:
    r"""Return `text` safe to store and to show: one line, visible characters only.

    Control, bidirectional, zero-width and other invisible characters go, white space becomes
    single spaces, full-width and similar compatibility forms become the plain character, stacked
    combining marks are thinned. Fractions and superscripts stay as they are, for ½ and ² would
    become other numbers. Text longer than `limit` characters is cut and ends in "…".

    >>> plain_text("６２\u200b psi\u202e\x1b[31m\n ½")
    '62 psi[31m ½'
    """
    text = text[: 8 * limit]
    decomposed = "".join(map(_plain_character, text))
    out: list[str] = []
    marks = 0
    for character in unicodedata.normalize("NFC", " ".join(decomposed.split())):
        marks = marks + 1 if unicodedata.combining(character) else 0
        if marks <= _MOST_MARKS:
            out.append(character)
    plain = unicodedata.normalize("NFC", "".join(out))
    return plain if len(plain) <= limit else plain[: limit - 1].rstrip() + "…"


def _plain_character(character: str) -> str:
    if character.isascii():
        return character if character.isprintable() else " " if character.isspace() else ""
    category = unicodedata.category(character)
    if category in {"Zs", "Zl", "Zp"} or character == "\x85":
        return " "
    is_selector = "\ufe00" <= character <= "\ufe0f" or "\U000e0100" <= character <= "\U000e01ef"
    if category in {"Cc", "Cf", "Cs", "Co", "Cn"} or is_selector or character in _INVISIBLE:
        return ""
    if character != "…" and unicodedata.decomposition(character).startswith(_DECOMPOSED_SAFELY):
        plain = unicodedata.normalize("NFKC", character)
        return plain if plain != character else character
    return character


@lru_cache(maxsize=4096)
def fold(text: str) -> str:
    """Return `text` in lower case, apostrophes gone, everything but letters and digits a space.

    >>> fold("Can't reach-it!")
    'cant reach it'
    """
    text = re.sub(r"['’‘`´]", "", text.casefold())
    return " ".join(
        "".join(character if character.isalnum() else " " for character in text).split()
    )


def squeeze(text: str) -> str:
    """Return `fold` of `text` without spaces.

    >>> squeeze("R-404 A")
    'r404a'
    """
    return fold(text).replace(" ", "")


def word_set(words: str) -> frozenset[str]:
    """Return the words of a line as a set."""
    return frozenset(words.split())


def quoted(text: str) -> str:
    """Return `text` short, plain and in quotation marks, for a message."""
    return f'"{plain_text(text, 60)}"'


def counted(number: int, what: str) -> str:
    """Return how many of something there are, in words that agree.

    >>> counted(1, "call"), counted(1200, "parked call")
    ('1 call', '1,200 parked calls')
    """
    return f"{number:,} {what}{'' if number == 1 else 's'}"


# Yes and no.

_LONGEST_AGREEMENT = 80
_YES = re.compile(
    r"(?:y|ye|yes|yep|yeah|yup|ya|yea|yessir|sure|right|correct|ok|okay|affirmative|aye|true|"
    r"absolutely|definitely|certainly|indeed|uh huh|mhm|mm hmm|of course|you bet|for sure|roger|"
    r"(?:that|it) ?(?:is|s) (?:right|correct|true)|(?:that )?sounds (?:right|good)|"
    r"(?:i )?(?:confirm|agree|understand)|confirmed|agreed|understood|acknowledged|got it|will do)"
)
_NO = re.compile(
    r"(?:n|no|nope|nah|nay|negative|false|wrong|incorrect|not (?:right|correct|true)|no way|"
    r"not at all|absolutely not|definitely not|certainly not|of course not|"
    r"(?:that|it) ?(?:is|s) (?:wrong|not (?:right|correct|true))|"
    r"(?:i )?(?:refuse|decline|disagree)|i (?:do not|dont|wont|will not))"
)
_BEFORE = r"(?:(?:oh|well|um|uh|er|hm+|so|ah|hi|hey) )*"
_POLITE = r"sir|maam|please|thanks|thank you|there|then|now|boss|mate"
_YES_TAIL = (
    r"(?: (?:it|they|i|we|he|she|that|there) ?(?:is|s|does|did|has|are|re|do|have|am|m|will|was)"
    rf"| (?:{_POLITE})| all good)*"
)
_NO_TAIL = (
    r"(?: (?:it|they|i|we|he|she|that|there) ?"
    r"(?:isnt|is not|s not|doesnt|does not|didnt|did not|hasnt|has not|arent|are not|dont|do not|"
    r"havent|have not|am not|m not|wont|will not|wasnt|was not)"
    rf"| (?:{_POLITE})| not (?:yet|really))*"
)
_ALL_YES = re.compile(rf"{_BEFORE}{_YES.pattern}(?: {_YES.pattern})*{_YES_TAIL}")
_ALL_NO = re.compile(rf"{_BEFORE}{_NO.pattern}(?: {_NO.pattern})*{_NO_TAIL}")
_STATED_YES = re.compile(r"(?:it|they|that|there) (?:is|does|did|has|are|do|have|was)")
_STATED_NO = re.compile(
    r"(?:(?:it|they|that|there) )?(?:isnt|is not|doesnt|does not|didnt|did not|hasnt|has not|arent|"
    r"are not|wasnt|was not)|not (?:yet|really)"
)
_BUT = word_set(
    "but except although though however maybe perhaps think guess sometimes only partly "
    "some half mostly almost barely hardly unless if or"
)
NEGATION = word_set(
    "no not nope nah never none without isnt doesnt didnt hasnt arent wasnt dont cant wont "
    "aint havent couldnt cannot nothing"
)
_PRONOUN = word_set(
    "it its they theyre there theres i im we were that thats the this he she hes shes"
)


def agreement(text: str) -> bool | None:
    """Return True for a plain yes, False for a plain no, None for anything else or more.

    >>> agreement("Yep, it is"), agreement("no sir"), agreement("yes, but not today")
    (True, False, None)
    """
    folded = fold(text)
    if len(folded) > _LONGEST_AGREEMENT:
        return None
    if _ALL_YES.fullmatch(folded):
        return True
    return False if _ALL_NO.fullmatch(folded) else None


def leading_agreement(text: str) -> bool | None:
    """Return what a yes or no followed by an explanation in the same sense says, else None.

    >>> leading_agreement("no, it's still hanging"), leading_agreement("yes but only half")
    (False, None)
    """
    plain = agreement(text)
    if plain is not None:
        return plain
    folded = fold(text)
    if _STATED_NO.fullmatch(folded):
        return False
    if _STATED_YES.fullmatch(folded):
        return True
    if any(character.isdigit() for character in text):
        return None
    first, *others = re.split(r"[,.;:!–—]| - ", text, maxsplit=1)
    said = agreement(first)
    rest = fold(others[0]).split() if others else []
    if said is None:
        head, *rest = folded.split() or [""]
        said = agreement(head)
        if not rest or rest[0] not in _PRONOUN:
            return None
    opposite = _ALL_NO if said else _ALL_YES
    if said is None or _BUT.intersection(rest) or any(map(opposite.fullmatch, rest)):
        return None
    return None if said and NEGATION.intersection(rest) else said


# Not known, and why.

_NOT_SAID_WHY = "the caller does not know"
_SKIPPED = "skipped by the caller"
_DOES_NOT_APPLY = "said not to apply here"
OUR_REASONS = frozenset({_NOT_SAID_WHY, _SKIPPED, _DOES_NOT_APPLY})
"""Reasons for a missing reading in our own words, whatever was typed."""
_BARE_UNKNOWN = {
    re.compile(
        r"(?:unknown|dunno|idk|unsure|not (?:sure|certain|known)|(?:i )?(?:dont|do not) know|"
        r"i dunno|(?:i (?:have|ve) |ive |got )?no (?:idea|clue)|(?:havent|have not) a clue|"
        r"(?:he|she|caller|customer|the caller|the customer) (?:doesnt|does not) know|"
        r"(?:i )?(?:cant|cannot|can not|couldnt) (?:say|tell)(?: you)?|couldnt tell you|"
        r"beats me|who knows|nobody knows|no answer|i (?:am|m) not sure|im not sure)"
    ): _NOT_SAID_WHY,
    re.compile(r"skip(?: it| this| that)?|pass|next"): _SKIPPED,
    re.compile(r"n a|na|not applicable|does not apply|doesnt apply"): _DOES_NOT_APPLY,
}
_TOOL = (
    r"(?:gauges?|manifold|meters?|multimeter|thermometers?|thermocouple|probe|clamp|scales?|ruler|"
    r"calipers?|tape|watch|clock|timer|stopwatch|tools?|ladder|access|readings?|time to|way|keys?|"
    r"data|info|information|nameplate|data plate|label|tag|sticker|instruments?|hygrometer|light "
    r"to|ports?|service ports?)"
)
_DOING = (
    r"(?:reach|read|see(?! any)|get|measure|tell|say|check|find|access|open|hear|remember|recall|"
    r"feel|do|make|take|connect|weigh|test|look|know|hook|put|climb|go|be sure|answer|count|time|"
    r"watch|right now|at the moment)"
)
_DONE = (
    r"(?:look|looked|check|checked|measure|measured|weigh|weighed|time|timed|test|tested|take|"
    r"taken|took|note|noted|notice|noticed|watch|watched|ask|asked|try|tried|count|counted|read it|"
    r"see it|seen it|get (?:it|that|one|a|the)|got|had|write|bring|brought|catch)"
)
_UNKNOWN = re.compile(
    r"(?:(?:sorry|i|we|he|she|they|honestly|well|um|ah|just|really|still|caller|customer|"
    r"the (?:caller|customer)|no|nope|nah) )*"
    rf"(?:unknown\b|dunno\b|idk\b|unsure\b|(?:a?m )?not (?:sure|certain|known)\b|no (?:idea|clue)\b"
    rf"|(?:cant|cannot|can not|couldnt|could not|unable to|not able to|no way to|wont be able to|"
    rf"havent been able to|wasnt able to)(?: (?:really|even|quite|safely))?(?:$| {_DOING}\b)"
    r"|(?:didnt|did not|havent|have not|never|hasnt|has not)(?: (?:actually|really|even))? "
    rf"{_DONE}\b"
    r"|(?:dont|do not|doesnt|does not|didnt|did not) (?:know|have (?:a|an|any|the|my|one|it|that)|"
    r"remember|recall|carry|own|want to|feel safe)\b"
    rf"|(?:no|without|(?:got|have|has) no|there ?(?:is|are|s) no) (?:[a-z]+ )?{_TOOL}\b"
    r"|not (?:measured|checked|available|accessible|taken|here|possible|allowed|licensed|looked|"
    r"visible|readable|legible|recorded|written|timed|weighed|comfortable|qualified|going to|"
    r"safe)\b|too (?:hot|high|dangerous|dark|far|tight|risky|cold) to\b|forgot\b|illegible"
    r"|unreadable|inaccessible|unavailable|hard to (?:say|tell|see|reach|read)|your guess|beats me"
    r"|who knows|(?:my |the |his |her |our )?(?:(?:clamp|probe|infrared|pocket) )?(?:gauges?"
    r"|manifold|meter|multimeter|thermometer|thermocouple|probe|clamp|scales?)(?: is| are|s)? "
    r"(?:broken|dead|flat|missing|not working|in the (?:truck|van|car)|out of)"
    r"|(?:the )?battery (?:is )?(?:dead|flat)"
    r"|(?:the )?(?:nameplate|label|plate|data plate|sticker|tag)(?: is|s)? (?:missing|gone|worn"
    r"|unreadable|faded|illegible|not (?:readable|legible)|painted)"
    r"|(?:it |customer |owner |manager |they |he |she )?wont (?:let|allow)\b|left (?:my|the) "
    rf"{_TOOL}|nobody (?:knows|looked|checked|there|measured|here)\b)"
)
_EXPLICIT_UNKNOWN = re.compile(r"\W*unknown\b[\s,;:.–—-]*(?P<reason>.*)", re.IGNORECASE)
_BARE_LEAD = re.compile(
    r"(?:i )?(?:dunno|don['’]?t know|do not know|idk|no idea|no clue|not sure|unsure|skip|n/?a"
    r"|can['’]?t|cannot|can not|couldn['’]?t)"
    r"\s*(?:[,;:.–—-]+|because|since)\s*(?P<reason>\S.*)",
    re.IGNORECASE,
)
_NOTHING_THERE = re.compile(
    r"(?:sorry )?(?:there (?:is|was|were) )?(?:no|not a|nothing)(?: (?:whole|loose|single|full))?"
    r"(?: (?:slabs?|ice|batch|cubes?|pieces?))? (?:came|comes|fell|falls|dropped|drops|has come|"
    r"let go|is loose|loose|off|to be had|to (?:measure|weigh|look at))\b.*"
)


def unknown_reason(text: str) -> str | None:
    """Return why the caller has no answer, or None if the text does not say so.

    A reason is kept as typed; a bare "dunno" gets words of ours. Only the word unknown itself may
    be followed by figures: "not sure, maybe 62" is no refusal to answer.

    >>> unknown_reason("unknown, no gauges here"), unknown_reason("dunno")
    ('no gauges here', 'the caller does not know')
    >>> unknown_reason("62 psi") is None
    True
    """
    plain = plain_text(text)
    if plain and not plain.strip("? "):
        return _NOT_SAID_WHY
    folded = fold(plain)
    for pattern, reason in _BARE_UNKNOWN.items():
        if pattern.fullmatch(folded):
            return reason
    if explicit := _EXPLICIT_UNKNOWN.fullmatch(plain):
        return explicit["reason"].strip() or _NOT_SAID_WHY
    if any(character.isdigit() for character in folded):
        return None
    if lead := _BARE_LEAD.fullmatch(plain):
        return lead["reason"].strip()
    return plain if _UNKNOWN.match(folded) else None


def nothing_there(text: str) -> str | None:
    """Return `text` as the reason if it says that there is nothing to measure, else None.

    Only for a quantity: asked whether the ice dropped, the same words are the answer.

    >>> nothing_there("no slab came loose"), nothing_there("no, 3 mm")
    ('no slab came loose', None)
    """
    plain = plain_text(text)
    folded = fold(plain)
    if any(character.isdigit() for character in folded):
        return None
    return plain if _NOTHING_THERE.fullmatch(folded) else None


# Words that steer the call.

# A minus right in front of a number belongs to it.
_WHAT = r"\s*(?:[:,]|-(?=\s))?\s*(.*)"
_CONTROLS = {
    "back": r"(?:go |step )?back(?: up| one| please| a (?:step|question))?|previous|prev|undo"
    r"|(?:the )?(?:last|previous) question",
    "change": rf"(?:change|redo|edit|fix)\b(?:\s+(?:the|my|that))?{_WHAT}"
    rf"|correct\s+(?:the|my)\b{_WHAT}|go back to\s+(?:the\s+)?{_WHAT}",
    "unknown": rf"unknown\b{_WHAT}",
    "why": r"why\b.*|what(?:'?s| is) (?:that|this|it) for|what for|does (?:it|that|this) matter",
    "how": r"how\b(?! about\b).*|show me how.*"
    r"|where (?:do|can|should|would) (?:i|we|you|he|she)\b.*",
    "note": rf"(?:add |make )?(?:a )?note\b(?: that\b)?{_WHAT}",
    "case": r"(?:show (?:me )?)?(?:the )?case(?: so far)?|so far|summary|status|recap"
    r"|what do we have(?: so far)?|where are we",
    "stop": r"stop(?: here| now| and keep(?: it)?| it| the call)?|quit|exit|bye|goodbye|hang up"
    r"|end(?: the)? call|end|q",
    "park": rf"park\b{_WHAT}",
    "serial": rf"(?:the )?serial\b(?: ?(?:number|no\b|nr\b|#))?(?: is\b)?{_WHAT}",
    "help": r"help(?: me| please)?|commands|what can i (?:say|type|do)"
    r"|(?:what are )?(?:my|the) (?:options|choices)|options|choices",
}
_CONTROL_PATTERNS = {
    command: re.compile(rf"[/:\\]?(?:{pattern})", re.IGNORECASE)
    for command, pattern in _CONTROLS.items()
}


def control_in(text: str) -> tuple[str, str] | None:
    """Return the steering command typed and what follows it, or None.

    >>> control_in("change the suction"), control_in("How do I measure that?")
    (('change', 'suction'), ('how', ''))
    >>> control_in("note -5 C on the roof"), control_in("note - it rattles")
    (('note', '-5 C on the roof'), ('note', 'it rattles'))
    """
    plain = plain_text(text).rstrip("?!. ")
    for command, pattern in _CONTROL_PATTERNS.items():
        if match := pattern.fullmatch(plain):
            return command, next(filter(None, match.groups()), "").strip()
    return None
