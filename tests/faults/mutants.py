"""The faults that can be planted in a source file: small changes, as a slip would make them."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

SWAPS: dict[type[ast.AST], str] = {
    ast.Lt: "<=",
    ast.LtE: "<",
    ast.Gt: ">=",
    ast.GtE: ">",
    ast.Eq: "!=",
    ast.NotEq: "==",
    ast.Is: "is not",
    ast.IsNot: "is",
    ast.In: "not in",
    ast.NotIn: "in",
    ast.Add: "-",
    ast.Sub: "+",
    ast.Mult: "/",
    ast.Div: "*",
    ast.FloorDiv: "*",
    ast.Mod: "+",
    ast.And: "or",
    ast.Or: "and",
    ast.BitAnd: "|",
    ast.BitOr: "&",
}
NAMES = {"min": "max", "max": "min", "any": "all", "all": "any"}
DONT_CARE = ("__repr__", "_repr_html_", "__deepcopy__")
"""Functions whose faults are of no consequence to a life."""


class Mutant(NamedTuple):
    """One fault: the file, its line, what stands there and what is put in its place."""

    file: Path
    line: int
    start: int
    end: int
    before: str
    after: str

    def __str__(self) -> str:
        return f"{self.file}:{self.line}: {self.before!r} -> {self.after!r}"

    def planted(self) -> str:
        """Return the text of the file with the fault."""
        text = self.file.read_bytes()
        return (text[: self.start] + self.after.encode() + text[self.end :]).decode()


def mutants(file: Path) -> Iterator[Mutant]:
    """Yield every fault that can be planted in a file, in the order of its text."""
    text = file.read_text(encoding="utf-8")
    lines = [0]
    for line in text.encode().splitlines(keepends=True):
        lines.append(lines[-1] + len(line))
    source = text.encode()

    def place(line: int | None, column: int | None) -> int:
        assert line is not None and column is not None
        return lines[line - 1] + column

    def extent(node: ast.expr | ast.stmt) -> tuple[int, int]:
        return (
            place(node.lineno, node.col_offset),
            place(node.end_lineno, node.end_col_offset),
        )

    def mutant(start: int, end: int, line: int, after: str) -> Mutant:
        return Mutant(file, line, start, end, source[start:end].decode(), after)

    def between(left: ast.expr, right: ast.expr, after: str) -> Mutant:
        """A fault in the operator between two operands, brackets and blanks left as they are."""
        start = place(left.end_lineno, left.end_col_offset)
        end = place(right.lineno, right.col_offset)
        gap = source[start:end].decode()
        core = gap.strip(" ()\n\\")
        start += len(gap[: gap.index(core)].encode())
        return mutant(start, start + len(core.encode()), left.lineno, after)

    for node in _nodes_that_matter(ast.parse(text)):
        if isinstance(node, ast.Compare) and len(node.ops) == 1:
            yield between(node.left, node.comparators[0], SWAPS[type(node.ops[0])])
        elif isinstance(node, ast.BinOp) and type(node.op) in SWAPS:
            if not isinstance(node.left, ast.Constant) or not isinstance(node.left.value, str):
                yield between(node.left, node.right, SWAPS[type(node.op)])
        elif isinstance(node, ast.BoolOp):
            yield between(node.values[0], node.values[1], SWAPS[type(node.op)])
        elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
            start = place(node.lineno, node.col_offset)
            yield mutant(start, start + len("not"), node.lineno, "")
        elif isinstance(node, ast.Constant) and type(node.value) in (int, float, bool):
            start, end = extent(node)
            after = (
                repr(not node.value) if isinstance(node.value, bool) else f"({node.value!r} + 1)"
            )
            yield mutant(start, end, node.lineno, after)
        elif isinstance(node, ast.Name) and node.id in NAMES and isinstance(node.ctx, ast.Load):
            start = place(node.lineno, node.col_offset)
            yield mutant(start, start + len(node.id), node.lineno, NAMES[node.id])
        elif isinstance(node, ast.Expr) and isinstance(node.value, ast.Call):
            start, end = extent(node)
            yield mutant(start, end, node.lineno, "pass")


def _nodes_that_matter(tree: ast.AST) -> Iterator[ast.AST]:
    """Yield the nodes of functions, but for annotations and what is only shown."""
    for function in ast.walk(tree):
        if isinstance(function, ast.FunctionDef) and function.name not in DONT_CARE:
            for statement in function.body:
                yield from _walk(statement)


def _walk(node: ast.AST) -> Iterator[ast.AST]:
    if isinstance(node, ast.FunctionDef | ast.ClassDef | ast.JoinedStr | ast.Raise | ast.Assert):
        return
    yield node
    for name, value in ast.iter_fields(node):
        if name in ("annotation", "returns"):
            continue
        children = value if isinstance(value, list) else [value]
        for child in children:
            if isinstance(child, ast.AST):
                yield from _walk(child)
