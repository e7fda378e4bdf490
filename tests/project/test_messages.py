"""The page of messages tells the truth: each mistake on it is made, and the whole message compared.

Run as a program, with `model` on the path, it writes the messages on the page anew.
"""

import contextlib
import csv
import io
import os
import re
import shlex
import sys
import tempfile
from pathlib import Path

import pytest

from holdcast import cli

PAGE = Path(__file__).resolve().parents[2] / "docs" / "messages.md"
_LOG = re.compile(r"^`(\w+\.csv)`\n\n```csv\n(.*?)```$", re.MULTILINE | re.DOTALL)
_MISTAKE = re.compile(
    r"^### (.+)\n\n((?:In|Without) `.+\.|`holdcast .+`)\n(?:\n```text\n([^`]*?)```\n)?", re.MULTILINE
)
_CELL = re.compile(r"`(\w+)` is (?:`(.*?)`|blank)")
_HEADED = re.compile(r"column `(\w+)` is headed `(\w+)`")


def written(folder: Path, mistake: str) -> None:
    """Write the page's log into a folder, with the mistake in it."""
    folder.mkdir()
    for name, text in _LOG.findall(PAGE.read_text(encoding="utf-8")):
        if mistake == f"Without `{name}`.":
            continue
        rows = list(csv.reader(io.StringIO(text)))
        if mistake.startswith(f"In `{name}`"):
            for old, new in _HEADED.findall(mistake):
                rows[0][rows[0].index(old)] = new
            for column, value in _CELL.findall(mistake):
                row = int(re.search(r"row (\d+)", mistake)[1])
                rows[row - 1][rows[0].index(column)] = value
        with (folder / name).open("w", encoding="utf-8", newline="") as file:
            csv.writer(file).writerows(rows)


def message(mistake: str) -> str:
    """Return what the program says to a mistake, in a terminal of 100 columns."""
    words = shlex.split(mistake.strip("`"))[1:] if mistake.startswith("`") else ["check", "my-campaign"]
    out, err, here = io.StringIO(), io.StringIO(), Path.cwd()
    with tempfile.TemporaryDirectory() as folder, contextlib.ExitStack() as stack:
        os.chdir(folder)
        stack.callback(os.chdir, here)
        written(Path("my-campaign"), mistake)
        stack.enter_context(contextlib.redirect_stdout(out))
        stack.enter_context(contextlib.redirect_stderr(err))
        stack.enter_context(contextlib.suppress(SystemExit))
        cli.main(words)
    # After the doubts `check` shows the grid of pulls.
    text = err.getvalue() + out.getvalue().split("\n\nPulls that count")[0]
    return "".join(f"{line.rstrip()}\n" for line in text.strip("\n").split("\n"))


MISTAKES = _MISTAKE.findall(PAGE.read_text(encoding="utf-8"))


def test_the_page_holds_every_heading_as_a_mistake():
    headings = re.findall(r"^### (.+)$", PAGE.read_text(encoding="utf-8"), re.MULTILINE)
    assert [title for title, _, _ in MISTAKES] == headings and len(headings) >= 20


@pytest.mark.parametrize(("mistake", "said"), [pytest.param(m, s, id=title) for title, m, s in MISTAKES])
def test_the_program_says_what_the_page_says(mistake: str, said: str):
    assert message(mistake) == said


if __name__ == "__main__":
    os.environ["COLUMNS"] = "100"

    def block(match: re.Match[str]) -> str:
        return f"### {match[1]}\n\n{match[2]}\n\n```text\n{message(match[2])}```\n"

    PAGE.write_text(_MISTAKE.sub(block, PAGE.read_text(encoding="utf-8")), encoding="utf-8")
    sys.exit(0)
