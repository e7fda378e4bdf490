"""Where a script's page goes: into a file, or onto the screen."""

from pathlib import Path

__all__ = ["write_or_print"]


def write_or_print(text: str, path: Path | None) -> None:
    """Write a page into a file, or print it where no file was named."""
    if path is None:
        print(text)
    else:
        path.write_text(text, encoding="utf-8")
