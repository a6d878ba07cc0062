"""One decision graph, or a part that several share, from its file; every name resolved."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from types import MappingProxyType

from triage.tree.compose import EXIT, Fragment, Use
from triage.tree.content import Ending, Junction, Question, Reading, Rule, Stage
from triage.tree.errors import nearest, quoted
from triage.tree.load_readings import LONGEST_MINUTE, Names, Readings
from triage.tree.marked_yaml import Entry, Items, Node, Scalar, Table
from triage.tree.sections import Section

ELSE = "else"
"""Route key for every outcome no other key of the table names."""

MOST_QUESTIONS_ALLOWED = 100
"""Greatest number of questions a tree may promise as its longest call (judged)."""

GREATEST_SHARE = 1e6
"""Greatest weight of one cause among those of a tree."""

_NODE_TABLES = ("questions", "junctions", "endings")


def read_tree(file: Section, readings: Readings, causes: Names) -> Fragment | None:
    """Return the tree a file holds, its parts not yet put in; None if it has no usable name.

    readings, causes: what the tree may name; None when their file could not be read.
    """
    name = file.scalar("tree")
    if name is None or not file.is_id(name, "tree"):
        return None
    most_questions = file.number("most_questions", 1, MOST_QUESTIONS_ALLOWED)
    if most_questions is not None and not most_questions.is_integer():
        file.complain(file.place_of("most_questions"), "counts whole questions; drop the fraction")
    reader = _Reader(file, readings, causes, exits={})
    return reader.fragment(name, int(most_questions or 0), reader.shares())


def read_part(file: Section, readings: Readings, causes: Names) -> Fragment | None:
    """Return the part a file holds, parts of its own not yet put in; None without usable name."""
    name = file.scalar("part")
    if name is None or not file.is_id(name, "part"):
        return None
    exits = {}
    for key, node in file.entries("exits"):
        if file.is_id(key, "exit"):
            if not isinstance(node, Scalar) or node.is_null:
                file.complain(node.place, f"says nothing of the exit {quoted(key.text)}; add it")
            exits[key.text] = key
    return _Reader(file, readings, causes, exits).fragment(name, 0, {})


class _Reader:
    """Reads the nodes of one file against the names they may use."""

    def __init__(
        self, file: Section, readings: Readings, causes: Names, exits: Mapping[str, Scalar]
    ) -> None:
        self._file = file
        self._readings = readings
        self._causes = causes
        self._exits = exits
        self._taken: set[str] = set()
        self._wrong_exits: set[str] = set()
        owners: dict[str, str] = {}
        self._nodes = frozenset(self._node_ids(file, owners))
        self._spaces = frozenset(self._namespaces(file, owners))

    def fragment(self, name: Scalar, most_questions: int, shares: Mapping[str, float]) -> Fragment:
        file = self._file
        start = file.scalar("start")
        causes = file.table.entries.get("causes")
        fragment = Fragment(
            id=name.text,
            title=file.text("title"),
            start=self.target(file, start, is_start=True) if start else "",
            most_questions=most_questions,
            causes=MappingProxyType(dict(shares)),
            exits=self._exits,
            uses=MappingProxyType(dict(self._uses())),
            questions={k: self.question(k, s) for k, s in self._sections("questions")},
            junctions={k: self.junction(k, s) for k, s in self._sections("junctions")},
            endings={k: self.ending(k, s) for k, s in self._sections("endings")},
            place=name.place,
            causes_place=causes.key.place if causes is not None else name.place,
        )
        for exit_name, key in self._exits.items():
            # Nothing leads there while the exit is misspelled; that is told by itself.
            if exit_name not in self._taken and not self._wrong_exits:
                file.complain(
                    key.place, f"never takes the exit {quoted(exit_name)}; lead a route to "
                    f"{EXIT}{exit_name}, or drop it"
                )  # fmt: skip
        return fragment

    def _sections(self, table: str) -> Iterator[tuple[str, Section]]:
        # What a file does not write itself, its parts may bring; a part may end at its exits.
        is_required = table != "junctions" and not self._spaces
        if table == "endings" and self._exits:
            is_required = False
        return self._file.named_sections(table, table[:-1], is_required=is_required)

    def shares(self) -> dict[str, float]:
        """Return of how many of a hundred calls each cause is behind, as the tree says."""
        shares: dict[str, float] = {}
        for key, node in self._file.entries("causes"):
            self._file.known(key, self._causes, "cause")
            if not isinstance(node, Scalar) or node.is_null:
                self._file.complain(
                    node.place, f"wants one number under {key.text}: of a hundred such calls, how "
                    "many"
                )  # fmt: skip
                continue
            share = self._file.number_in(node, key.text, 1e-6, GREATEST_SHARE)
            if share is not None:
                shares[key.text] = share
        return shares

    def _node_ids(self, file: Section, owners: dict[str, str]) -> Iterator[str]:
        for table_name in _NODE_TABLES:
            yield from self._names_under(file, table_name, owners)

    def _namespaces(self, file: Section, owners: dict[str, str]) -> Iterator[str]:
        yield from self._names_under(file, "parts", owners)

    def _names_under(self, file: Section, key: str, owners: dict[str, str]) -> Iterator[str]:
        entry = file.table.entries.get(key)
        if entry is None or not isinstance(entry.value, Table):
            return
        for name, inner in entry.value.entries.items():
            owner = owners.setdefault(name, key)
            if owner != key:
                file.complain(
                    inner.key.place,
                    f"has {quoted(name)} among its {owner} and again among its {key}; rename one",
                )
            yield name

    def _uses(self) -> Iterator[tuple[str, Use]]:
        for name, section in self._file.named_sections("parts", "use", is_required=False):
            if name == EXIT.removesuffix("."):
                section.complain(section.place, "has a name with a meaning of its own; rename it")
            part = section.scalar("part")
            exits: dict[str, tuple[str, Scalar]] = {}
            for key, node in section.entries("exits", is_required=False):
                if isinstance(node, Scalar) and not node.is_null:
                    exits[key.text] = (self.target(section, node), key)
                else:
                    section.complain(node.place, f"wants one node for the exit {quoted(key.text)}")
            if part is not None:
                yield name, Use(part.text, part.place, MappingProxyType(exits), section.place)

    def target(self, section: Section, word: Scalar, *, is_start: bool = False) -> str:
        exits = frozenset() if is_start else frozenset(EXIT + name for name in self._exits)
        if word.text in exits:
            self._taken.add(word.text.removeprefix(EXIT))
        elif word.text.startswith(EXIT) and not is_start:
            self._complain_of_exit(section, word)
            return word.text
        what = "question, junction or ending of this tree"
        if self._spaces or exits:
            what = "question, junction, ending, part or exit here"
        section.known(word, self._nodes | self._spaces | exits, what)
        return word.text

    def _complain_of_exit(self, section: Section, word: Scalar) -> None:
        name = word.text.removeprefix(EXIT)
        self._wrong_exits.add(name)
        if "tree" in self._file.table.entries:
            section.complain(
                word.place, f"leads to {quoted(word.text)}, but a tree has no exits; lead to an "
                "ending or another node of it"
            )  # fmt: skip
            return
        guess = nearest(name, self._exits) or f"; exits: {', '.join(self._exits) or 'none'}"
        section.complain(
            word.place, f"leads to {quoted(word.text)}, but there is no exit {quoted(name)}{guess}"
        )

    def question(self, name: str, section: Section) -> Question:
        reading = self._reading(section, section.scalar("reading"))
        routes = section.table_under("routes")
        return Question(
            id=name,
            reading=reading[0],
            stage=section.member("stage", Stage) or Stage.CALLER,
            agent=section.text("agent"),
            technician=section.text("technician"),
            why=section.text("why"),
            how=section.text("how"),
            if_unknown=section.text("if_unknown"),
            routes=MappingProxyType(
                self._routes(section, routes, reading[1]) if routes is not None else {}
            ),
            place=section.place,
            minute=section.number("minute", 0, LONGEST_MINUTE, is_required=False),
        )

    def _reading(self, section: Section, word: Scalar | None) -> tuple[str, Reading | None]:
        if word is None:
            return "", None
        if self._readings is None:
            return word.text, None
        section.known(word, frozenset(self._readings), "reading")
        return word.text, self._readings.get(word.text)

    def _routes(self, section: Section, table: Table, reading: Reading | None) -> dict[str, str]:
        """Return the total map of outcome to node that a short route table stands for."""
        routes: dict[str, str] = {}
        otherwise: Entry | None = None
        for entry in table.entries.values():
            if not isinstance(entry.value, Scalar) or entry.value.is_null:
                section.complain(
                    entry.value.place,
                    f"wants one node for the route {quoted(entry.key.text)}; write its id",
                )
                continue
            self.target(section, entry.value)
            if entry.key.text.strip() == ELSE:
                otherwise = entry
                continue
            for outcome in (part.strip() for part in entry.key.text.split("|")):
                self._add_route(section, routes, reading, entry, outcome)
        if reading is not None:
            missing = [outcome for outcome in reading.outcomes if outcome not in routes]
            self._close(section, routes, missing, otherwise, table)
        return routes

    def _add_route(
        self,
        section: Section,
        routes: dict[str, str],
        reading: Reading | None,
        entry: Entry,
        outcome: str,
    ) -> None:
        assert isinstance(entry.value, Scalar)
        if reading is not None and outcome not in reading.outcomes:
            section.complain(
                entry.key.place,
                f"routes {quoted(outcome)}, which is no outcome of {reading.id}"
                + (
                    nearest(outcome, reading.outcomes)
                    or f"; outcomes: {', '.join(reading.outcomes)}"
                ),
            )
        elif outcome in routes:
            section.complain(
                entry.key.place, f"routes {quoted(outcome)} a second time; keep one of the routes"
            )
        else:
            routes[outcome] = entry.value.text

    def _close(
        self,
        section: Section,
        routes: dict[str, str],
        missing: list[str],
        otherwise: Entry | None,
        table: Table,
    ) -> None:
        if otherwise is None:
            if missing:
                section.complain(
                    table.place,
                    f"has no route for {', '.join(map(quoted, missing))}; add "
                    f"{'it' if len(missing) == 1 else 'them'}, or else: for all the rest",
                )
        elif not missing:
            section.complain(
                otherwise.key.place, "routes every outcome already, so else: is never taken; "
                "drop it"
            )  # fmt: skip
        elif isinstance(otherwise.value, Scalar):
            routes.update(dict.fromkeys(missing, otherwise.value.text))

    def junction(self, name: str, section: Section) -> Junction:
        rules = section.node("rules")
        otherwise = section.scalar("otherwise")
        return Junction(
            id=name,
            stage=section.member("stage", Stage) or Stage.CALLER,
            rules=self._rules(section, rules),
            otherwise=self.target(section, otherwise) if otherwise else "",
            place=section.place,
        )

    def _rules(self, section: Section, node: Node | None) -> tuple[Rule, ...]:
        if node is None:
            return ()
        if not isinstance(node, Items) or not node.items:
            section.complain(node.place, "wants a list of rules, each with says, if and then")
            return ()
        rules: list[Rule] = []
        for number, item in enumerate(node.items, start=1):
            if not isinstance(item, Table):
                section.complain(item.place, f"has a rule {number} without says, if and then")
                continue
            rule = Section(item, f"{section.what} rule {number}", section.mistakes)
            rules.append(self._rule(rule))
            rule.finish()
        return tuple(rules)

    def _rule(self, rule: Section) -> Rule:
        says = rule.text("says")
        all_of = self._conditions(rule, "if")
        any_of = self._conditions(rule, "if_any")
        if not (rule.has("if") or rule.has("if_any")):
            rule.complain(rule.place, 'lacks the key "if"; say when it holds')
        then = rule.scalar("then")
        return Rule(
            says=says,
            all_of=MappingProxyType(all_of),
            any_of=MappingProxyType(any_of),
            then=self.target(rule, then) if then else "",
            place=rule.place,
        )

    def _conditions(self, rule: Section, key: str) -> dict[str, frozenset[str]]:
        conditions: dict[str, frozenset[str]] = {}
        table = rule.table_under(key, is_required=False)
        if table is not None and not table.entries:
            rule.complain(
                table.place, f"has nothing under {quoted(key)}; name a reading or drop it"
            )
        for entry in table.entries.values() if table is not None else ():
            word, node = entry.key, entry.value
            _, reading = self._reading(rule, word)
            if isinstance(node, Items):
                outcomes = rule.words_in(node, word.text)
            elif isinstance(node, Scalar) and not node.is_null:
                outcomes = (node,)
            else:
                outcomes = ()
            if not outcomes:
                rule.complain(node.place, f"wants an outcome, or a list of them, for {word.text}")
            valid = frozenset(reading.outcomes) if reading is not None else None
            conditions[word.text] = frozenset(
                outcome.text
                for outcome in outcomes
                if rule.known(outcome, valid, f"outcome of {word.text}")
            )
            if valid is not None and conditions[word.text] == valid:
                rule.complain(
                    word.place,
                    f"names every outcome of {word.text}, so it asks nothing; drop it",
                )
        return conditions

    def ending(self, name: str, section: Section) -> Ending:
        concludes, escalates = section.has("causes"), section.has("escalate")
        if concludes == escalates:
            section.complain(
                section.place,
                "needs either causes: (a conclusion) or escalate: (whom to hand the call to)"
                + (", not both" if concludes else ""),
            )
        causes = self._causes_under(section, "causes", at_least=1) if concludes else ()
        escalate = section.text("escalate") if escalates else None
        shortlist = self._causes_under(section, "shortlist")
        settles = section.words("settles")
        for word in settles:
            if section.known(word, self._causes, "cause") and word.text not in shortlist:
                section.complain(
                    word.place, f"settles on {quoted(word.text)}, which is not in its shortlist; "
                    "add it there"
                )  # fmt: skip
        machine_state = section.text("machine_state") if escalates else ""
        call_whom = section.text("call_whom") if escalates else ""
        for key in ("shortlist", "settles", "machine_state", "call_whom"):
            if section.has(key) and concludes and not escalates:
                section.complain(
                    section.place_of(key),
                    f"concludes, and only an escalation has {quoted(key)}; drop it",
                )
        return Ending(
            id=name,
            causes=causes,
            because=section.text("because"),
            place=section.place,
            escalate=escalate,
            shortlist=shortlist,
            machine_state=machine_state,
            call_whom=call_whom,
            settles=tuple(word.text for word in settles),
        )

    def _causes_under(self, section: Section, key: str, at_least: int = 0) -> tuple[str, ...]:
        words = section.words(key, at_least=at_least)
        return tuple(word.text for word in words if section.known(word, self._causes, "cause"))
