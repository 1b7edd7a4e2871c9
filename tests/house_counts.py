"""What `house_figures.py` counts, file by file; see there for what is counted as what."""

import ast
import io
import keyword
import re
import subprocess
import tokenize
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
ORIGIN = re.compile(
    r"(?i:common practice|no source|from memory|\bassumed|\bassumption|by definition|handbook"
    r"|data ?sheet|\bsources?:|published|\bfit(?:ted)? (?:on|to|of|over|by|in)\b"
    r"|measured (?:on|in|over|with|by|at)\b|standard atmosphere|\barxiv|\bdoi\b)"
    r"|\b(?:ISO|IEC|EN|ITTC|ABYC|WGS|NMEA|SAE|IUPAC|CODATA|BIPM) ?-?\d*\b"
    r"|\b[A-Z][a-z]+ (?:and [A-Z][a-z]+ |et al\.? )?\(?(?:19|20)\d\d\b"
)
OPERATING = re.compile(r"motor_?(?:power|w\b|input)|propulsion_(?:power|w)|motoring", re.IGNORECASE)
NO_CONSTANT = re.compile(r"VERSION|USER_ERROR|INTERRUPTED|PIPE_CLOSED|TERMINATED")
NO_TEXT = {".png", ".zst", ".gz", ".svg", ".ico", ".woff2", ".lock"}
SUBJECTS = {  # by folder in the new layout; by module in the old one, where all lay in one folder
    "pack": ("analyzer/pack/", "ageing capacity charge_state charging chemistry guesses "
             " ocv pack soc steps unseen"),
    "thermal": ("analyzer/thermal/", "cable_heat cable_history cable_trend cables copper "
                "drive_heat heat_prior heating joints loop"),
    "sag": ("analyzer/trips/sag", "sag sag_history sag_table sagfit"),
}  # fmt: skip
LAYOUT = {
    tokenize.NEWLINE,
    tokenize.NL,
    tokenize.INDENT,
    tokenize.DEDENT,
    tokenize.ENDMARKER,
    tokenize.ENCODING,
}
Function = ast.FunctionDef | ast.AsyncFunctionDef


@dataclass
class Module:
    """A parsed file."""

    path: Path
    text: str
    comments: dict[int, str] = field(default_factory=dict)  # by line
    tokens: int = 0
    code: set[int] = field(default_factory=set)  # lines
    docstrings: set[int] = field(default_factory=set)  # lines
    shapes: dict[int, str] = field(default_factory=dict)  # by line, names and values left out

    def __post_init__(self) -> None:
        for node in ast.walk(self.tree):
            body = getattr(node, "body", None)
            if isinstance(node, ast.Module | ast.ClassDef | Function) and ast.get_docstring(node):
                self.docstrings |= set(range(body[0].lineno, body[0].end_lineno + 1))
        for token in tokenize.generate_tokens(io.StringIO(self.text).readline):
            first, last = token.start[0], token.end[0]
            if token.type == tokenize.COMMENT:
                self.comments[first] = token.string
            elif token.type not in LAYOUT and first not in self.docstrings:
                self.tokens += 1
                self.code |= set(range(first, last + 1))
                self.shapes[first] = f"{self.shapes.get(first, '')} {_shape(token)}"

    @cached_property
    def tree(self) -> ast.Module:
        """The syntax tree."""
        return ast.parse(self.text)

    @property
    def name(self) -> str:
        """Path from the root."""
        return str(self.path.relative_to(ROOT))

    @property
    def imports(self) -> set[int]:
        """Lines of import statements."""
        nodes = [n for n in ast.walk(self.tree) if isinstance(n, ast.Import | ast.ImportFrom)]
        return {k for n in nodes for k in range(n.lineno, (n.end_lineno or n.lineno) + 1)}

    def functions(self) -> Iterator[Function]:
        """All, nested ones too."""
        return (n for n in ast.walk(self.tree) if isinstance(n, Function))


def _shape(token: tokenize.TokenInfo) -> str:
    """A token without the name or value that it has."""
    if token.type == tokenize.NAME and not keyword.iskeyword(token.string):
        return "name"
    return token.string if token.type in (tokenize.NAME, tokenize.OP) else "value"


def tracked() -> list[Path]:
    """Files that git tracks."""
    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, check=True, capture_output=True)
    paths = [ROOT / name for name in listed.stdout.decode().splitlines()]
    return [path for path in paths if path.is_file()]


def is_test(path: Path) -> bool:
    """Whether it lies in `tests/`."""
    return path.relative_to(ROOT).parts[0] == "tests"


def is_text(path: Path) -> bool:
    """Whether its lines are counted: no picture, no recording."""
    return path.suffix not in NO_TEXT and path.name != "truth.json"


def body_lines(function: Function) -> int:
    """Lines of its body without the docstring."""
    body = function.body[1:] if ast.get_docstring(function) else function.body
    return (body[-1].end_lineno or 0) - body[0].lineno + 1 if body else 0


def argument_count(function: Function) -> int:
    """All kinds of arguments, without self and cls."""
    a = function.args
    named = [*a.posonlyargs, *a.args, *a.kwonlyargs, *filter(None, (a.vararg, a.kwarg))]
    return sum(one.arg not in ("self", "cls") for one in named)


def is_number(value: ast.expr | None) -> bool:
    """Whether an expression is made of numbers alone."""
    match value:
        case ast.Constant(value=int() | float() as number):
            return not isinstance(number, bool)
        case ast.UnaryOp(operand=one):
            return is_number(one)
        case ast.BinOp(left=left, right=right):
            return is_number(left) and is_number(right)
        case ast.Tuple(elts=many) | ast.List(elts=many) | ast.Dict(values=many):
            return bool(many) and all(map(is_number, many))
        case ast.Call(func=ast.Attribute(attr="inv_cdf" | "array")):
            return True
    return False


def constants(module: Module) -> Iterator[tuple[str, bool]]:
    """Name and whether its origin is told; see the module's docstring."""
    about = ast.get_docstring(module.tree) or ""
    above, last_line = "", 0
    for node in module.tree.body:
        if not isinstance(node, ast.Assign | ast.AnnAssign):
            last_line = 0
            continue
        first, end = node.lineno, node.end_lineno or node.lineno
        block = _block_above(module, first)
        if block or first > last_line + 1:
            above = block  # holds for the assignments that follow without a blank line
        last_line = end
        target = node.targets[0] if isinstance(node, ast.Assign) else node.target
        for name, value in _pairs(target, node.value):
            if re.fullmatch(r"_?[A-Z][A-Z0-9_]*", name) and is_number(value):
                if NO_CONSTANT.search(name):
                    continue
                beside = [module.comments.get(k, "") for k in range(first, end + 1)]
                named = [line for line in about.splitlines() if re.search(rf"\b{name}\b", line)]
                yield name, bool(ORIGIN.search(" ".join([above, *beside, *named])))


def _block_above(module: Module, line: int) -> str:
    found, line = [], line - 1
    while line in module.comments and line not in module.code:
        found.append(module.comments[line])
        line -= 1
    return " ".join(reversed(found))


def _pairs(target: ast.expr, value: ast.expr | None) -> list[tuple[str, ast.expr | None]]:
    """`A = 1` and `A, B = 1, 2`."""
    if isinstance(target, ast.Tuple) and isinstance(value, ast.Tuple):
        return [p for t, v in zip(target.elts, value.elts, strict=False) for p in _pairs(t, v)]
    return [(target.id, value)] if isinstance(target, ast.Name) else []


def operating_definitions(module: Module) -> Iterator[str]:
    """Definitions of motor power and motoring."""
    for node in ast.walk(module.tree):
        if isinstance(node, Function | ast.ClassDef) and OPERATING.search(node.name):
            yield f"{module.name}:{node.lineno} {node.name}"
        if isinstance(node, ast.Assign | ast.AnnAssign) and node.value is not None:
            target = node.targets[0] if isinstance(node, ast.Assign) else node.target
            compares = any(isinstance(part, ast.Compare) for part in ast.walk(node.value))
            if compares and isinstance(target, ast.Name) and OPERATING.search(target.id):
                yield f"{module.name}:{node.lineno} {target.id}"


def subject_of(module: Module) -> str | None:
    """pack, thermal or sag."""
    for subject, (start, names) in SUBJECTS.items():
        old = module.path.parent == ROOT / "analyzer" and module.path.stem in names.split()
        if old or module.name.startswith(start):
            return subject
    return None
