"""Mutations of a module's source: one small change each, found on its syntax tree."""

import ast
import copy
from collections.abc import Iterator
from dataclasses import dataclass

OTHER = {
    ast.Lt: ast.GtE, ast.LtE: ast.Lt, ast.Gt: ast.LtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq, ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.In: ast.NotIn, ast.NotIn: ast.In,
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult,
    ast.And: ast.Or, ast.Or: ast.And,
}  # fmt: skip


@dataclass(frozen=True)
class Mutant:
    """One changed source; `original` and `mutated` are the lines it changes, as one line."""

    file: str
    line: int
    original: str
    mutated: str
    source: str

    @property
    def key(self) -> str:
        """What tells it from others, whatever line it has moved to."""
        return f"{self.file}  {self.original} -> {self.mutated}"

    def __str__(self) -> str:
        return f"{self.file}:{self.line}  {self.original} -> {self.mutated}"


def mutants(file: str, source: str) -> list[Mutant]:
    """All mutations of a module's source."""
    nodes = _code(ast.parse(source))
    return [_replaced(file, source, node, new) for node in nodes for new in _changed(node)]


def _code(node: ast.AST) -> Iterator[ast.expr]:
    """Expressions that run: no annotations, and no f-strings, whose places are not told."""
    for field, value in ast.iter_fields(node):
        for child in value if isinstance(value, list) else [value]:
            idle = field in ("annotation", "returns", "decorator_list")
            if idle or isinstance(child, ast.JoinedStr) or not isinstance(child, ast.AST):
                continue
            if isinstance(child, ast.expr):
                yield child
            yield from _code(child)


def _changed(node: ast.expr) -> Iterator[str]:
    """The node's text with one small change, for each that is known for its kind."""
    new = copy.deepcopy(node)
    match new:
        case ast.Compare():
            new.ops[0] = OTHER[type(new.ops[0])]()
            yield ast.unparse(new)
        case ast.BinOp() if type(new.op) in OTHER:
            new.op = OTHER[type(new.op)]()
            yield ast.unparse(new)
        case ast.BoolOp():
            new.op = OTHER[type(new.op)]()
            yield f"({ast.unparse(new)})"  # it may stand under what binds closer
        case ast.UnaryOp(op=ast.Not()):
            yield f"({ast.unparse(new.operand)})"
        case ast.Constant(value=bool(value)):
            yield str(not value)
        case ast.Constant(value=int(value)):
            yield str(value + 1)
        case ast.Constant(value=float(value)) if value:
            yield from (f"({-value!r})", f"{1.1 * value!r}")
        case ast.Call(args=[ast.Name(id=first), ast.Name(id=second)]) if first != second:
            new.args.reverse()
            yield ast.unparse(new)


def _replaced(file: str, source: str, node: ast.expr, text: str) -> Mutant:
    """The source with a node's text in place of what stands there."""
    lines = source.encode().splitlines(keepends=True)  # the tree counts bytes
    first, last = node.lineno - 1, (node.end_lineno or node.lineno) - 1
    new = lines[first][: node.col_offset] + text.encode() + lines[last][node.end_col_offset :]
    changed = b"".join([*lines[:first], new, *lines[last + 1 :]]).decode()
    old = b"".join(lines[first : last + 1]).decode()
    return Mutant(file, first + 1, " ".join(old.split()), " ".join(new.decode().split()), changed)
