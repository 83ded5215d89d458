"""Every sentence that the program says through a reader's reader, found in its source; what a language file lacks.

``python -m tests.sentences de`` prints what is missing from ``de.po``, ready to be translated, and what is in vain.
"""

import ast
import re
import string
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.pofile import read_po, write_po

ROOT = Path(__file__).resolve().parents[1]
ROOMS = ("monitor", "dashboard")

NOT_A_MANNER = {"view"}
STAYS_ENGLISH = ("monitor/backtest/", "monitor/wire/", "monitor/dough/")  # of developers; what nobody but a log is told
RECOGNISED = (
    "monitor/store/",
    "monitor/notify/",
)  # errors that are texts: a reader recognises them by their sentence
ERRORS = {
    "AccessError", "BoardError", "CentralError", "ConfigError", "DamagedError", "DemoError", "MonitorError",
    "NotifyError", "PictureError", "SolverError", "SourceError", "StoreError", "UnfitError",
}  # fmt: skip
PASSED_ON = {  # the sentences stand elsewhere: in the calls of who passes them on, or in ``stored``
    "self.reader.say(sentence, **holes)",
    "self.say(what.sentence, **what.holes)",  # of a saying
    "reader.say(words)",  # of a poke
    "reader.say(DEFERENCE)",
    "reader.say(caution.title)",
    "reader.say(caution.text)",
    "say(kind.words)",
    "scene.reader.say(what)",  # that is asked of a node
}


@dataclass(frozen=True, slots=True)
class Sentence:
    """A source sentence; ``many`` is its other form when it counts something."""

    text: str
    where: str
    many: str = ""


def sentences() -> tuple[list[Sentence], list[str]]:
    """Every sentence in the source, and each call whose sentence could not be found out."""
    found: list[Sentence] = []
    unknown: list[str] = []
    for room in ROOMS:
        for path in sorted((ROOT / room).rglob("*.py")):
            module = _Module(ast.parse(path.read_text(encoding="utf-8")), str(path.relative_to(ROOT)))
            found += module.sentences()
            unknown += module.unknown
    known = {each.text: each for each in reversed(found)}
    known |= {text: Sentence(text, where) for text, where in stored()}
    return sorted(known.values(), key=lambda each: (each.where, each.text)), unknown


def kept() -> list[Sentence]:
    """The sentences of sayings and errors: worded when they are told, or recognised in what a store kept."""
    found: dict[str, Sentence] = {}
    for room in ROOMS:
        for path in sorted((ROOT / room).rglob("*.py")):
            module = _Module(ast.parse(path.read_text(encoding="utf-8")), str(path.relative_to(ROOT)))
            found |= {each.text: each for each in module.kept()}
    return sorted(found.values(), key=lambda each: (each.where, each.text))


def stored() -> Iterator[tuple[str, str]]:
    """Sentences that are kept in the store as they stand in the source, or that stand in values made elsewhere."""
    from dashboard.batch.logbook import POKES
    from dashboard.drawing.exports import KINDS
    from dashboard.sensors.overview import ASKED
    from monitor.alerts.dough import MORE, UNMEASURED, UNSEEN
    from monitor.alerts.silence import LINE_EXPLAINS, NODE_EXPLAINS
    from monitor.wording.cautions import CAUTIONS, DEFERENCE

    yield DEFERENCE, "monitor/wording/cautions.py"
    for caution in CAUTIONS:
        yield caution.title, "monitor/wording/cautions.py"
        yield caution.text, "monitor/wording/cautions.py"
    for kind in KINDS.values():
        yield kind.words, "dashboard/drawing/exports.py"
    for text in (UNSEEN, UNMEASURED, LINE_EXPLAINS, NODE_EXPLAINS, *MORE.values()):
        yield text, "monitor/alerts/dough.py"
    for text in ASKED:
        yield text, "dashboard/sensors/overview.py"
    for text in POKES.values():
        yield text, "dashboard/batch/logbook.py"


class _Module:
    """One file's calls of ``say`` and ``count``."""

    def __init__(self, tree: ast.Module, where: str) -> None:
        self.where = where
        self.unknown: list[str] = []
        self._tree = tree
        self._owners = {
            child: node
            for node in ast.walk(tree)
            if isinstance(node, ast.FunctionDef | ast.Lambda)
            for child in ast.walk(node)
        }

    def sentences(self) -> Iterator[Sentence]:
        """Each sentence said here, or kept here to be said."""
        yield from self.kept()
        for call in ast.walk(self._tree):
            if not isinstance(call, ast.Call) or not call.args:
                continue
            by, _, what = ast.unparse(call.func).rpartition(".")
            if what == "count" and len(call.args) == 3:
                _, one, many = call.args
                for text, other in zip(self._texts(one, call), self._texts(many, call), strict=True):
                    yield Sentence(text, self.where, other)
            elif what == "say" and by not in NOT_A_MANNER:
                written = ast.unparse(call)
                texts = self._texts(call.args[0], call)
                if not texts and written not in PASSED_ON:
                    self.unknown.append(f"{self.where}:{call.lineno}: {written}")
                for text in texts:
                    yield Sentence(text, self.where)

    def kept(self) -> Iterator[Sentence]:
        """Each sentence of a saying or an error here."""
        for call in ast.walk(self._tree):
            if isinstance(call, ast.Call) and call.args and not self.where.startswith(STAYS_ENGLISH):
                what = ast.unparse(call.func).rpartition(".")[2]
                if what in ERRORS or what in ("N_", "Saying", "report"):
                    yield from self._kept(call)

    def _kept(self, call: ast.Call) -> Iterator[Sentence]:
        """The sentences of a saying or an error, which are worded when they are told."""
        first = call.args[0]
        texts = self._texts(first, call)
        if isinstance(first, ast.JoinedStr) and self.where.startswith(RECOGNISED):
            texts = [_sentence_of(first)]
        elif isinstance(first, ast.JoinedStr):
            self.unknown.append(f"{self.where}:{call.lineno}: {ast.unparse(call)}")
        for text in texts:
            if any(letter.isalpha() for words, *_ in string.Formatter().parse(text) for letter in words):
                yield Sentence(text, self.where)

    def _texts(self, node: ast.expr, call: ast.AST) -> list[str]:
        """The texts an expression may have; none when that cannot be found out."""
        if isinstance(node, ast.Constant):
            return [node.value] if isinstance(node.value, str) and node.value else []
        if isinstance(node, ast.IfExp):
            return self._texts(node.body, call) + self._texts(node.orelse, call)
        if isinstance(node, ast.BoolOp):
            return [text for value in node.values for text in self._texts(value, call)]
        if isinstance(node, ast.Call) and ast.unparse(node.func) == "N_":
            return self._texts(node.args[0], call)
        if isinstance(node, ast.Subscript):
            return self._texts(node.value, call)
        if isinstance(node, ast.Dict):
            return [text for value in node.values for text in self._texts(value, call)]
        if isinstance(node, ast.Tuple | ast.List):
            return [text for value in node.elts for text in self._texts(value, call)]
        if (
            isinstance(node, ast.Call)
            and isinstance(node.func, ast.Attribute)
            and node.func.attr in ("items", "values")
        ):
            return self._texts(node.func.value, call)
        return self._named(node.id, call) if isinstance(node, ast.Name) else []

    def _named(self, name: str, call: ast.AST) -> list[str]:
        """The texts that a name stands for: in the function around the call, else in the module."""
        scope: ast.AST | None = self._owners.get(call)
        for place in (scope, self._tree):
            if place is None:
                continue
            found = [text for value in _values(place, name, self._tree) for text in self._texts(value, call)]
            if found:
                return list(dict.fromkeys(found))
        return []


def _sentence_of(text: ast.JoinedStr) -> str:
    """The sentence of an f-string; each hole is named by the last word of what fills it."""
    made = ""
    for part in text.values:
        if isinstance(part, ast.Constant):
            made += str(part.value)
        elif isinstance(part, ast.FormattedValue):
            made += "{" + [word for word in re.split(r"\W+", ast.unparse(part.value)) if word][-1] + "}"
    return made


def _values(scope: ast.AST, name: str, module: ast.AST) -> Iterator[ast.expr]:
    """What is assigned to a name in a scope, or looped over by it."""
    for node in ast.walk(scope):
        if isinstance(node, ast.Assign):
            for target in node.targets:
                yield from _matched(target, node.value, name)
        elif isinstance(node, ast.AnnAssign) and node.value is not None:
            yield from _matched(node.target, node.value, name)
        elif isinstance(node, ast.For | ast.comprehension):
            yield from _looped(node.target, node.iter, name, [*ast.walk(scope), *ast.iter_child_nodes(module)])


def _matched(target: ast.expr, value: ast.expr, name: str) -> Iterator[ast.expr]:
    if isinstance(target, ast.Name) and target.id == name:
        yield value
    elif isinstance(target, ast.Tuple) and isinstance(value, ast.Tuple):
        for part, each in zip(target.elts, value.elts, strict=True):
            yield from _matched(part, each, name)


def _looped(target: ast.expr, over: ast.expr, name: str, around: list[ast.AST]) -> Iterator[ast.expr]:
    if isinstance(target, ast.Name) and target.id == name:
        yield over
    elif isinstance(target, ast.Tuple) and isinstance(over, ast.Tuple | ast.List):
        for each in over.elts:
            yield from _matched(target, each, name)
    elif isinstance(target, ast.Tuple) and isinstance(over, ast.Call) and isinstance(over.func, ast.Attribute):
        table: ast.expr | None = over.func.value
        if isinstance(table, ast.Name):
            wanted = table.id
            assigned = (node for node in around if isinstance(node, ast.Assign))
            table = next((node.value for node in assigned if ast.unparse(node.targets[0]) == wanted), None)
        if over.func.attr == "items" and isinstance(table, ast.Dict):
            for place, part in enumerate(target.elts):
                if isinstance(part, ast.Name) and part.id == name:
                    yield from [value for value in (table.keys, table.values)[place] if value is not None]


def catalogue(code: str) -> Catalog:
    """The language file of a code; an empty one when there is none yet."""
    path = ROOT / "monitor" / "wording" / "languages" / f"{code}.po"
    if not path.exists():  # a new language
        return Catalog(locale=code)
    with path.open("rb") as file:
        return read_po(file, locale=code, abort_invalid=True)


def keys_of(catalog: Catalog) -> set[str]:
    """The source sentences of a language file, by their first form."""
    return {message.id if isinstance(message.id, str) else message.id[0] for message in catalog if message.id}


def main(code: str) -> int:
    """Print what a language file lacks and what it has in vain."""
    found, unknown = sentences()
    known = keys_of(catalogue(code))
    missing = Catalog()
    for each in found:
        if each.text not in known:
            missing.add((each.text, each.many) if each.many else each.text, locations=[(each.where, 0)])
    write_po(sys.stdout.buffer, missing, width=0, include_lineno=False)
    for text in sorted(known - {each.text for each in found}):
        print(f"in vain: {text!r}", file=sys.stderr)
    for call in unknown:
        print(f"not found out: {call}", file=sys.stderr)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1]))
