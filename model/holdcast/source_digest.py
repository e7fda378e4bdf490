"""A digest of the program's own code, blind to comments and docstrings: what was made by which program."""

import ast
import hashlib
from collections.abc import Sequence
from importlib.resources import files
from pathlib import Path

from holdcast import package_data

__all__ = ["source_digest", "source_files", "without_words"]


def source_digest(parts: Sequence[str], tables: Sequence[str] = ()) -> str:
    """Return a short digest of the code of some parts of the package, and of tables that they read.

    Comments, docstrings and layout do not count: what they say moves no draw.

    Parameters
    ----------
    parts : sequence of str
        Folders and files of the package.
    tables : sequence of str, optional
        Folders of the data that travels with the package; every byte of theirs counts.
    """
    digest = hashlib.sha256()
    for part in parts:
        for path in source_files(Path(str(files("holdcast") / part))):
            digest.update(without_words(path.read_text(encoding="utf-8")).encode())
    for folder in tables:
        for path in sorted(package_data.path(folder).iterdir()):
            digest.update(path.read_bytes())
    return digest.hexdigest()[:12]


def source_files(part: Path) -> list[Path]:
    """Return a file, or every source file of a folder and its sub-folders, sorted by path."""
    return [part] if part.is_file() else sorted(part.rglob("*.py"))


def without_words(source: str) -> str:
    """Return Python source as parsed: without comments, and without texts that stand as statements."""
    tree = ast.parse(source)
    for node in ast.walk(tree):
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef):
            node.body = [each for each in node.body if not _only_says(each)] or [ast.Pass()]
    return _written(tree)


def _written(part: object) -> str:
    """Write a part of the parsed source; what is empty is left out, since versions of Python differ in it."""
    if isinstance(part, ast.AST):
        fields = {name: value for name, value in ast.iter_fields(part) if value is not None and value != []}
        return f"{type(part).__name__}({', '.join(f'{k}={_written(v)}' for k, v in fields.items())})"
    return f"[{', '.join(map(_written, part))}]" if isinstance(part, list) else repr(part)


def _only_says(statement: ast.stmt) -> bool:
    return (
        isinstance(statement, ast.Expr)
        and isinstance(statement.value, ast.Constant)
        and isinstance(statement.value.value, str)
    )
