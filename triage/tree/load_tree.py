"""One decision graph from its file: questions, junctions and endings, every name resolved."""

from __future__ import annotations

from collections.abc import Iterator
from types import MappingProxyType

from triage.tree.content import Ending, Junction, Question, Reading, Rule, Stage, Tree
from triage.tree.errors import nearest, quoted
from triage.tree.load_readings import LONGEST_MINUTE, Names, Readings
from triage.tree.marked_yaml import Entry, Items, Node, Scalar, Table
from triage.tree.sections import Section

ELSE = "else"
"""Route key for every outcome no other key of the table names."""

MOST_QUESTIONS_ALLOWED = 100
"""Greatest number of questions a tree may promise as its longest call (judged)."""

_NODE_TABLES = ("questions", "junctions", "endings")


def read_tree(file: Section, readings: Readings, causes: Names) -> Tree | None:
    """Return the tree a file holds, or None if it has no usable name.

    readings, causes: what the tree may name; None when their file could not be read.
    """
    name = file.scalar("tree")
    if name is None or not file.is_id(name, "tree"):
        return None
    reader = _TreeReader(file, readings, causes)
    start = file.scalar("start")
    most_questions = file.number("most_questions", 1, MOST_QUESTIONS_ALLOWED)
    if most_questions is not None and not most_questions.is_integer():
        file.complain(file.place_of("most_questions"), "counts whole questions; drop the fraction")
    return Tree(
        id=name.text,
        title=file.text("title"),
        start=reader.target(file, start) if start else "",
        most_questions=int(most_questions or 0),
        questions=MappingProxyType(
            {
                key: reader.question(key, s)
                for key, s in file.named_sections("questions", "question")
            }
        ),
        junctions=MappingProxyType(
            {
                key: reader.junction(key, s)
                for key, s in file.named_sections("junctions", "junction", is_required=False)
            }
        ),
        endings=MappingProxyType(
            {key: reader.ending(key, s) for key, s in file.named_sections("endings", "ending")}
        ),
        place=name.place,
    )


class _TreeReader:
    """Reads the nodes of one tree against the names they may use."""

    def __init__(self, file: Section, readings: Readings, causes: Names) -> None:
        self._readings = readings
        self._causes = causes
        self._nodes = frozenset(self._node_ids(file))

    def _node_ids(self, file: Section) -> Iterator[str]:
        owners: dict[str, str] = {}
        for table_name in _NODE_TABLES:
            entry = file.table.entries.get(table_name)
            if entry is None or not isinstance(entry.value, Table):
                continue
            for name, inner in entry.value.entries.items():
                owner = owners.setdefault(name, table_name)
                if owner != table_name:
                    file.complain(
                        inner.key.place,
                        f"has {quoted(name)} among its {owner} and again among its {table_name}; "
                        "rename one",
                    )
                yield name

    def target(self, section: Section, word: Scalar) -> str:
        section.known(word, self._nodes, "question, junction or ending of this tree")
        return word.text

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
