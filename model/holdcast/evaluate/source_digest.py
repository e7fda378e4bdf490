"""Which version of the model an outcome is of: a digest of its code, blind to comments and docstrings."""

import ast
import hashlib
from collections.abc import Sequence
from importlib.resources import files
from pathlib import Path

__all__ = ["model_digest", "without_words"]


def model_digest(rooms: Sequence[str] = ("capacity", "physics")) -> str:
    """Return a short digest of the code of some rooms, so that outcomes of two models are never mixed.

    Comments, docstrings and layout do not count: what they say moves no draw.
    Another version of Python may parse to another digest; then everything is refitted.

    Parameters
    ----------
    rooms : sequence of str
        Folders of the package.
    """
    digest = hashlib.sha256()
    for room in rooms:
        for path in sorted(Path(str(files("holdcast") / room)).glob("*.py")):
            digest.update(without_words(path.read_text(encoding="utf-8")).encode())
    return digest.hexdigest()[:12]


def without_words(source: str) -> str:
    """Return Python source as parsed: without comments, and without texts that stand as statements."""
    tree = ast.parse(source)
    for node in ast.walk(tree):
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef):
            node.body = [each for each in node.body if not _only_says(each)] or [ast.Pass()]
    return ast.dump(tree)


def _only_says(statement: ast.stmt) -> bool:
    return (
        isinstance(statement, ast.Expr)
        and isinstance(statement.value, ast.Constant)
        and isinstance(statement.value.value, str)
    )
