"""Image of the node's core for the emulated Cortex-M0 board: its sources made small, in its interpreter's file system.

The layout is that of the interpreter's own file system (its source file filesystem.c, version 1.0.1): chunks of 128
bytes, the first byte a mark or the chunk before, the last one the chunk after.
"""

import ast
import builtins
from collections.abc import Mapping
from operator import add, lshift, mul
from pathlib import Path
from string import ascii_letters

NODE = Path(__file__).parents[1] / "node"
SHARED = ("packet", "ring", "link_serial")

PAGE = 0x400  # of the flash; the files begin at the first one after the interpreter
END = 0x3F800  # the page there is the file system's own
CHUNK = 128
A_PIECE = 250  # bytes of source that the compiler takes in what memory there is
FILE_MARK, SPARE_PAGE_MARK = 0xFE, 0xFD
MOST_CHUNKS = 252


# Names that the interpreter brings: they keep their spelling, and cost nothing.
KNOWN = {
    *dir(builtins), *dir(str), *dir(bytes), *dir(list), *dir(dict), "self", "array", "gc", "collect", "mem_alloc",
    "mem_free", "microbit", "uart", "any", "read", "write", "init", "sleep", "running_time", "random", "randrange",
}  # fmt: skip


# Words of the interpreter's own flash (its pins, pictures and tunes): as names they cost no memory, where each new name
# would take a dozen bytes.
WORDS = """
pin0 pin1 pin2 pin3 pin4 pin5 pin6 pin7 pin8 pin9 pin10 pin11 pin12 pin13 pin14 pin15 pin16 pin19 pin20 COW YES SAD MEH
DUCK XMAS HAPPY SMILE ANGRY SILLY HOUSE GHOST SWORD SKULL SNAKE HEART RABBIT PACMAN TARGET TSHIRT SQUARE ASLEEP DIAMOND
GIRAFFE FABULOUS TRIANGLE TORTOISE UMBRELLA CONFUSED PITCHFORK SURPRISED BUTTERFLY CLOCK1 CLOCK2 CLOCK3 CLOCK4 CLOCK5
CLOCK6 CLOCK7 CLOCK8 CLOCK9 CLOCK10 CLOCK11 CLOCK12 ARROW_N ARROW_NE ARROW_E ARROW_SE ARROW_S ARROW_SW ARROW_W ARROW_NW
ODE NYAN FUNK BLUES BADDY CHASE PRELUDE WEDDING FUNERAL PYTHON BIRTHDAY RINGTONE JUMP_UP POWER_UP BA_DING JUMP_DOWN
POWER_DOWN PUNCHLINE ENTERTAINER DADADADUM WAWAWAWAA CHESSBOARD STICKFIGURE ROLLERSKATE HEART_SMALL SQUARE_SMALL
DIAMOND_SMALL MUSIC_QUAVER MUSIC_QUAVERS MUSIC_CROTCHET TRIANGLE_LEFT
"""
FREE_NAMES = WORDS.split()


class _Smaller(ast.NodeTransformer):
    """One program of several modules, in as few words as the board has room for.

    No doc strings; whole-number constants in place of their names; short names for all that the program itself names;
    ``module.name`` becomes ``name``, since all lies in one place.
    """

    def __init__(self, modules: tuple[str, ...], constants: Mapping[str, int]) -> None:
        self._modules = modules
        self._constants = constants
        self._short: dict[str, str] = {}

    def _name(self, name: str) -> str:
        if name in KNOWN:
            return name
        if name not in self._short:
            if len(self._short) == len(FREE_NAMES):
                raise ValueError("the program has more names than the board has words")
            self._short[name] = FREE_NAMES[len(self._short)]
        return self._short[name]

    def _block(self, node: ast.Module | ast.ClassDef | ast.FunctionDef) -> ast.AST:
        self.generic_visit(node)
        body = node.body
        if body and isinstance(body[0], ast.Expr) and isinstance(body[0].value, ast.Constant):
            body[:1] = [] if len(body) > 1 else [ast.Pass()]
        return node

    def visit_Module(self, node: ast.Module) -> ast.AST:
        return self._block(node)

    def visit_ClassDef(self, node: ast.ClassDef) -> ast.AST:
        node.name = self._name(node.name)
        return self._block(node)

    def visit_FunctionDef(self, node: ast.FunctionDef) -> ast.AST:
        node.name = self._name(node.name)
        return self._block(node)

    def visit_arg(self, node: ast.arg) -> ast.AST:
        node.arg = self._name(node.arg)
        return node

    def visit_Name(self, node: ast.Name) -> ast.AST:
        if isinstance(node.ctx, ast.Load) and node.id in self._constants:
            return ast.Constant(self._constants[node.id])
        node.id = self._name(node.id)
        return node

    def visit_Attribute(self, node: ast.Attribute) -> ast.AST:
        if isinstance(node.value, ast.Name) and node.value.id in self._modules:
            return self.visit_Name(ast.Name(node.attr, node.ctx))
        self.generic_visit(node)
        node.attr = self._name(node.attr)
        return node

    def visit_Import(self, node: ast.Import) -> ast.AST | None:
        return None if node.names[0].name in self._modules else node

    def visit_Try(self, node: ast.Try) -> ast.AST | None:
        if all(isinstance(item, ast.ImportFrom) and item.names[0].name == "const" for item in node.body):
            return None  # no constant is left
        return self.generic_visit(node)

    def visit_Assign(self, node: ast.Assign) -> ast.AST | None:
        target = node.targets[0]
        if isinstance(target, ast.Name) and target.id in self._constants:
            return None
        return self.generic_visit(node)


def _constants(trees: list[ast.Module]) -> dict[str, int]:
    """Names in capitals that stand for one whole number each."""
    found: dict[str, int] = {}
    for item in (item for tree in trees for item in tree.body):
        if isinstance(item, ast.Assign) and isinstance(item.targets[0], ast.Name) and item.targets[0].id.isupper():
            name, value = item.targets[0].id, _whole_number(item.value, found)
            if found.get(name, value) != value:
                raise ValueError(f"two modules give {name} different values")
            if value is not None:
                found[name] = value
    return found


def _leave_out_unused(trees: list[ast.Module]) -> None:
    """Take out functions and methods that nothing in the program names."""
    named = {"__init__"}
    for node in (node for tree in trees for node in ast.walk(tree)):
        if isinstance(node, ast.Name):
            named.add(node.id)
        elif isinstance(node, ast.Attribute):
            named.add(node.attr)
    for tree in trees:
        holders: list[ast.Module | ast.ClassDef] = [tree]
        holders += [item for item in tree.body if isinstance(item, ast.ClassDef)]
        for holder in holders:
            holder.body = [item for item in holder.body if not isinstance(item, ast.FunctionDef) or item.name in named]


def _whole_number(node: ast.expr, known: Mapping[str, int]) -> int | None:
    """Value of a sum, product or shift of whole numbers; None for anything else."""
    match node:
        case ast.Constant(int(value)) if not isinstance(value, bool):
            return value
        case ast.Name(name):
            return known.get(name)
        case ast.Call(ast.Name("const"), [operand]):
            return _whole_number(operand, known)
        case ast.UnaryOp(ast.USub(), operand):
            positive = _whole_number(operand, known)
            return None if positive is None else -positive
        case ast.BinOp(left, operator, right):
            values = _whole_number(left, known), _whole_number(right, known)
            work = {ast.Add: add, ast.Mult: mul, ast.LShift: lshift}.get(type(operator))
            if work is not None and values[0] is not None and values[1] is not None:
                return int(work(*values))
    return None


def _text(body: list[ast.stmt]) -> str:
    """Source text of statements, one space a level."""
    lines = []
    for line in ast.unparse(ast.fix_missing_locations(ast.Module(body, []))).splitlines():
        text = line.lstrip(" ")
        if text:
            lines.append(" " * ((len(line) - len(text)) // 4) + text)
    return "\n".join(lines) + "\n"


def _pieces(body: list[ast.stmt]) -> list[str]:
    """Texts of a program that is defined a piece at a time, what needs most room first, while there is most.

    A function knows its neighbours only when it runs, so their order is free; a class begins empty and is given its
    methods one by one.
    """
    classes: list[str] = []
    functions: list[str] = []
    rest: list[str] = []
    for item in body:
        if isinstance(item, ast.FunctionDef):
            functions.append(_text([item]))
        elif isinstance(item, ast.ClassDef):
            classes.append(f"class {item.name}:\n pass\n")
            for method in item.body:
                if isinstance(method, ast.FunctionDef):
                    name, method.name = method.name, "_"
                    functions.append(f"{_text([method])}{item.name}.{name} = _\n")
        else:
            rest.append(_text([item]))
    texts = ["".join(classes)]
    for text in [*sorted(functions, key=len, reverse=True), *rest]:
        if texts[-1] and len(texts[-1] + text) > A_PIECE:
            texts.append("")
        texts[-1] += text
    return texts


def sources() -> dict[str, bytes]:
    """The files of the board: the shared modules and its own loop as one program, in pieces that run one after another.

    ``main.py`` runs them all in its own room, where they know each other.
    """
    # The last line of the board's own file, which starts its loop, comes last of all.
    paths = [Path(__file__).parent / "hal_microbit.py", *(NODE / f"{name}.py" for name in SHARED)]
    trees = [ast.parse(path.read_text(encoding="utf-8")) for path in paths]
    _leave_out_unused(trees)
    smaller = _Smaller(SHARED, _constants(trees))
    body = [item for tree in trees for item in smaller.visit(tree).body]
    begin = body.pop(len(trees[0].body) - 1)
    pieces = [*_pieces(body), _text([begin])]
    files = dict(zip(ascii_letters[: len(pieces)], pieces, strict=True))
    files["main.py"] = f"import gc\nfor A in '{''.join(files)}':\n exec(open(A).read())\n gc.collect()\n"
    return {name: text.encode("ascii") for name, text in files.items()}


def file_system(files: Mapping[str, bytes]) -> bytes:
    """The files as the board's flash holds them.

    Raises
    ------
    ValueError
        When there is more than chunks can be counted with a byte.
    """
    chunks: list[bytearray] = []
    for name, content in files.items():
        text = bytes([len(name)]) + name.encode("ascii") + content
        first = len(chunks) + 1  # chunks count from 1
        # The first chunk has one byte less for text: where the last chunk's text ends.
        pieces = [text[: CHUNK - 3], *(text[at : at + CHUNK - 2] for at in range(CHUNK - 3, len(text), CHUNK - 2))]
        end = len(pieces[-1]) + (1 if len(pieces) == 1 else 0)
        if end == CHUNK - 2:  # a full last chunk is told by an empty one after it
            pieces.append(b"")
            end = 0
        if first + len(pieces) > MOST_CHUNKS:
            raise ValueError(f"{name} and the files before it do not fit")
        for at, piece in enumerate(pieces):
            head = bytes([FILE_MARK, end]) if at == 0 else bytes([first + at - 1])
            after = bytes([first + at + 1]) if at + 1 < len(pieces) else b"\xff"
            chunks.append(bytearray((head + piece).ljust(CHUNK - 1, b"\xff") + after))
    return b"".join(bytes(chunk) for chunk in chunks)


def _record(kind: int, address: int, data: bytes) -> str:
    body = bytes([len(data)]) + address.to_bytes(2, "big") + bytes([kind]) + data
    return f":{body.hex().upper()}{-sum(body) & 0xFF:02X}"


def _end_of(lines: list[str]) -> int:
    """Address after the last byte of an Intel HEX text."""
    high = last = 0
    for line in lines:
        record = bytes.fromhex(line[1:])
        if record[3] == 4:
            high = int.from_bytes(record[4:6], "big") << 16
        elif record[3] == 0:
            last = max(last, high + int.from_bytes(record[1:3], "big") + record[0])
    return last


def image(interpreter_hex: str, files: Mapping[str, bytes]) -> str:
    """Intel HEX of the interpreter and the files; it runs ``main.py`` when it gets its supply.

    Raises
    ------
    ValueError
        When the files do not fit behind the interpreter.
    """
    lines = interpreter_hex.splitlines()
    flash = lines[: lines.index(":020000041000EA")]  # what comes after is no flash
    start = -(-_end_of(flash) // PAGE) * PAGE
    data = file_system(files)
    if len(data) > END - start:
        raise ValueError(f"{len(data)} bytes of files do not fit into {END - start}")
    data = data.ljust(END - start, b"\xff") + bytes([SPARE_PAGE_MARK])
    records = [_record(4, 0, (start >> 16).to_bytes(2, "big"))]
    records += [_record(0, (start + at) & 0xFFFF, data[at : at + 16]) for at in range(0, len(data), 16)]
    return "\n".join([*flash, *records, *lines[len(flash) :]]) + "\n"
