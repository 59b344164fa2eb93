"""Calls can be read: what a function takes by position is little."""

import ast
from pathlib import Path

ROOT = Path(__file__).parents[1]
MOST = 5  # by position; what more is needed is told by name
FILES = [p for p in sorted((ROOT / "raysim").rglob("*.py")) if "kernels" not in p.parts]


def test_few_arguments_go_by_position():
    assert len(FILES) > 200
    for path in FILES:
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
                names = [a.arg for a in node.args.posonlyargs + node.args.args]
                own = [name for name in names if name not in ("self", "cls")]
                assert len(own) <= MOST, f"{path}: {node.name}({', '.join(own)})"
