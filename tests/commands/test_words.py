"""The other commands, what stands on the screen, and how quickly help and check come."""

import csv
import errno
import json
import re
import shlex
import subprocess
import sys
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path

import pytest

from holdcast.cli import COMMANDS
from holdcast.commands.shared.common import show_findings
from holdcast.commands.shared.plain_signs import PLAIN_SIGNS
from holdcast.package_data import path as data

Run = Callable[..., object]
HEAVY = ("pymc", "pytensor", "nutpie", "arviz", "matplotlib", "xarray", "numba")


@pytest.mark.parametrize("command", COMMANDS)
def test_help_has_an_example_that_can_be_typed(run: Run, command: str) -> None:
    ended = run(command, "--help")
    assert ended.status == 0 and f"Example: holdcast {command}" in " ".join(ended.out.split())


def test_examples_name_what_the_demo_campaign_has(run: Run) -> None:
    tables = {}
    for name, column in (("anchors", "anchor"), ("anchors", "design"), ("seabeds", "seabed")):
        with (data("demo") / f"{name}.csv").open(encoding="utf-8") as stream:
            tables[column] = {row[column] for row in csv.DictReader(stream)}
    option_of = {"weight": "seabed", "without": "seabed", "equal-to": "design"}
    named = []
    for command in COMMANDS:
        text = " ".join(run(command, "--help").out.split())
        words = shlex.split(re.split(r"Arguments:|Options:", text.split("Example:")[1])[0])
        for option, value in pairwise(words):
            kind = option_of.get(option.removeprefix("--"), option.removeprefix("--"))
            if option.startswith("--") and kind in tables:
                named.append(option)
                assert value.split("=")[0] in tables[kind], (command, option)
    assert {"--weight", "--without", "--anchor", "--seabed", "--design", "--equal-to"} <= set(named)


def test_help_lists_every_command(run: Run) -> None:
    for words in ([], ["--help"]):
        ended = run(*words)
        assert ended.status == 0
        for name, line in COMMANDS.items():
            assert name in ended.out and line in " ".join(ended.out.split())


@pytest.mark.parametrize(
    ("words", "absent"),
    [
        (["--help"], (*HEAVY, "pandas", "scipy")),  # half a second is too long for a list of commands
        (["fit", "--help"], HEAVY),
        (["check", str(data("demo"))], HEAVY),
    ],
)
def test_help_and_check_load_no_heavy_library(words: list[str], absent: tuple[str, ...]) -> None:
    program = (
        "import sys; from holdcast.cli import main\n"
        f"try: main({words!r})\n"
        "except SystemExit as left: assert not left.code, left.code\n"
        f"print('LOADED', [name for name in {absent!r} if name in sys.modules], file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert done.stderr.endswith("LOADED []\n")


def test_check_ends_0_with_doubts_alone(make_campaign: Run, run: Run) -> None:
    folder = make_campaign(trials=[{"trial": "1", "anchor": "A", "seabed": "../../x", "held_n": 900}])
    ended = run("check", folder)
    assert ended.status == 0
    assert ended.out.startswith("No faults, ") and "stopped_by" in ended.out
    assert f"holdcast fit {folder}" in " ".join(ended.out.split())


def test_the_next_command_can_be_pasted_when_the_folder_has_a_space(campaign: Path, run: Run) -> None:
    assert f"holdcast fit '{campaign}' can run" in run("check", campaign).out


def test_check_as_json_is_json_and_nothing_else(campaign: Path, make_campaign: Run, run: Run) -> None:
    good = run("check", campaign, "--json")
    assert good.status == 0
    answer = json.loads(good.out)
    assert answer["ok"] is True and answer["rows"].startswith("6 rows in")
    bad = run("check", make_campaign(anchors=[{"anchor": "A"}, {"anchor": "a"}]), "--json")
    assert bad.status == 2
    answer = json.loads(bad.out)
    assert answer["ok"] is False
    assert {"fault"} <= {finding["severity"] for finding in answer["findings"]}
    assert {"file", "row", "column", "found", "allowed", "fix"} <= set(answer["findings"][0])


def test_fit_as_json_is_json_and_nothing_else(
    campaign: Path, run: Run, fits: Callable[..., None], unpaged: None
) -> None:
    fits()
    answer = json.loads(run("fit", campaign, "--json").out)
    assert answer["results"] == str(campaign / "results") and answer["verdict"]["ok"] is True


def test_names_cannot_steer_the_terminal(tmp_path: Path, run: Run) -> None:
    ended = run("check", tmp_path / "a\x1b[31mred\u202e")
    assert ended.status == 2
    assert "\x1b" not in ended.err and "\u202e" not in ended.err and "x1b[31mred" in ended.err


def test_names_are_text_in_the_table_on_the_screen(screen: str) -> None:
    for name in ("=1+1", "<script>alert(1)</script>", "../../x", "<b>beach</b>", "<i>=Title</i>"):
        assert name in screen


def test_anchors_and_seabeds_of_one_letter_can_be_shown(
    make_campaign: Run, run: Run, fits: Callable[..., None], unpaged: None
) -> None:
    fits()
    trial = {"trial": "1", "anchor": "A", "seabed": "m", "held_n": 1000, "released_n": 1200}
    folder = make_campaign(
        anchors=[{"anchor": "A", "mass_kg": 10}], seabeds=[{"seabed": "m", "soil": "rock"}], trials=[trial]
    )
    ended = run("fit", folder)
    assert ended.status == 0 and "m: rock" in ended.out


def test_a_terminal_that_lacks_letters_gets_them_spelt_out(tmp_path: Path) -> None:
    program = "from holdcast.cli import main; main()"
    done = subprocess.run(
        [sys.executable, "-c", program, "new", str(tmp_path / "prøver")],
        capture_output=True,
        text=True,
        check=False,
        env={"PYTHONIOENCODING": "ascii", "PATH": ""},
    )
    assert done.returncode == 0, done.stderr
    assert "pr\\xf8ver" in done.stdout


def test_signs_of_ours_are_written_plainly_and_letters_of_names_by_their_number() -> None:
    text = "ø×1.10 at 180°, −23 to −2 m²…"
    assert text.encode("ascii", PLAIN_SIGNS) == b"\\xf8x1.10 at 180deg, -23 to -2 m2~"
    assert "×1.10 °".encode("cp1252", PLAIN_SIGNS).decode("cp1252") == "×1.10 °"
    assert "≥ 3".encode("cp1252", PLAIN_SIGNS) == b">= 3"


@pytest.mark.parametrize(("target", "status"), [("full", 5), ("closed pipe", 0)])
def test_output_that_cannot_be_written(target: str, status: int) -> None:
    command = [sys.executable, "-c", "from holdcast.cli import main; main()", "check", str(data("demo"))]
    if target == "full":
        full = Path("/dev/full")
        if not full.exists():
            pytest.skip("this system has no /dev/full")
        with full.open("w") as stream:
            done = subprocess.run(command, stdout=stream, stderr=subprocess.PIPE, text=True, check=False)
        assert done.returncode == status and "No space left" in done.stderr
        return
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    process.stdout.close()  # a reader that went away
    _, errors = process.communicate(timeout=60)
    assert process.returncode == status and errors == ""


@pytest.mark.skipif(sys.platform == "win32", reason="needs a shell that can close a stream")
@pytest.mark.parametrize("closed", [">&-", "2>&-", ">&- 2>&-", "<&-"])
def test_streams_that_were_closed_take_words_and_drop_them(closed: str, tmp_path: Path) -> None:
    """Nor does a file that is opened later get a stream's number, and what libraries print with it."""
    program = (
        "import os, sys; from holdcast.commands.shared.common import prepare_output; prepare_output(); "
        "print('a', flush=True); print('b', file=sys.stderr, flush=True); "
        f"os._exit(7 if os.open({str(tmp_path / 'x')!r}, os.O_CREAT | os.O_WRONLY) > 2 else 1)"
    )
    command = shlex.join([sys.executable, "-c", program])
    ended = subprocess.run(["sh", "-c", f"{command} {closed}"], capture_output=True, text=True, check=False)
    assert (ended.returncode, ended.stdout, ended.stderr) == (
        7,
        "" if closed.startswith(">") else "a\n",
        "" if "2>" in closed else "b\n",
    )


def test_new_writes_a_campaign_that_checks_and_refuses_to_overwrite(tmp_path: Path, run: Run) -> None:
    folder = tmp_path / "new campaign"
    made = run("new", folder)
    assert made.status == 0 and "GUIDE.md" in made.out and "maim" in made.out
    assert run("check", folder).status == 0
    (folder / "anchors.csv").write_text("mine")
    for path in folder.iterdir():
        if path.name != "anchors.csv":
            path.unlink()
    again = run("new", folder)
    assert again.status == 2 and "anchors.csv" in again.err
    assert [path.read_text() for path in folder.iterdir()] == ["mine"]


def test_demo_writes_its_campaign_and_fits_it(
    tmp_path: Path, run: Run, fits: Callable[..., None], unpaged: None
) -> None:
    fits()
    folder = tmp_path / "demo"
    ended = run("demo", folder)
    assert ended.status == 0 and "invented" in ended.err + ended.out
    assert (folder / "results" / "cells.csv").is_file()
    assert (folder / "trials.csv").read_bytes() == (data("demo") / "trials.csv").read_bytes()
    assert run("fit", folder, "--quick").status == 0
    fits(raises=KeyboardInterrupt())
    assert run("demo", folder).status == 130  # its own demo may be run again, after a quick fit too


@pytest.mark.parametrize("name", ["diary.txt", "anchors.csv"])
def test_demo_leaves_somebody_elses_folder_alone(tmp_path: Path, run: Run, name: str) -> None:
    (tmp_path / name).write_text("mine")
    ended = run("demo", tmp_path)
    assert ended.status == 2 and "something other than the demo" in ended.err
    assert [path.name for path in tmp_path.iterdir()] == [name] and (tmp_path / name).read_text() == "mine"


def test_a_disk_that_fills_while_the_demo_is_copied_is_5(
    tmp_path: Path, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    import shutil

    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device", "anchors.csv")

    monkeypatch.setattr(shutil, "copyfile", full)
    assert run("demo", tmp_path / "demo").status == 5


# 6 mm chain of grade 30: working load 4.5 kN, a quarter of its breaking load of 18 kN (value from memory).
THIN = {"rode": "=thin", "chain_kg_per_m": 0.8, "chain_length_m": 10, "grade": 30, "chain_mm": 6}


@pytest.mark.parametrize(
    ("held", "more", "doubted"),
    [(4400, {}, False), (4600, {}, True), (4600, {"exclude": "fouled"}, True), (4600, {"rode": ""}, False)],
)
def test_a_pull_beyond_the_rodes_working_load_is_a_doubt(
    make_campaign: Run, run: Run, held: int, more: dict[str, object], doubted: bool
) -> None:
    pull = {"anchor": "A", "seabed": "<b>beach</b>", "rode": "=thin", "depth_m": 3, "scope": 7}
    trials = [
        {**pull, "trial": "1", "held_n": 800, "released_n": 900},
        {**pull, "trial": "hard", "held_n": held, "stopped_by": "boat_limit", **more},
    ]
    folder = make_campaign(trials=trials, rodes=[THIN])
    ended = run("check", folder)
    text = " ".join(ended.out.split())
    assert ended.status == 0
    assert ("rode =thin, trials" in text and "hard: up to" in text) == doubted


def test_doubts_about_theory_are_told_after_a_fit(
    campaign: Path, run: Run, fits: Callable[..., None], unpaged: None
) -> None:
    fits()
    ended = run("fit", campaign)
    about = ended.err.split("About the capacities that came out")[1]
    assert "A in ../../x" in about


def test_two_tables_of_doubts_say_what_each_is_about(
    make_campaign: Run, run: Run, fits: Callable[..., None], unpaged: None
) -> None:
    fits()
    trials = [
        {"trial": "1", "anchor": "A", "seabed": "../../x", "held_n": 700, "released_n": 700},
        {"trial": "2", "anchor": "A", "seabed": "../../x", "held_n": 900},  # stopped by whom?
    ]
    before, after = run("fit", make_campaign(trials=trials)).err.split("About the capacities that came out")
    assert "About the log as it was read, before any fitting:\nNo faults, " in before
    assert "stopped_by" in before and "A in ../../x" not in before
    assert after.split("\n")[1].startswith("A in ../../x")


def test_no_doubts_no_table_and_no_line_above_it(capfd: pytest.CaptureFixture[str]) -> None:
    show_findings([], "About nothing:")
    assert capfd.readouterr() == ("", "")


def test_the_version_short_help_and_the_module() -> None:
    """All three ways in that a person tries first; the version is that of the installed package."""
    from importlib.metadata import version

    python = [sys.executable, "-m", "holdcast"]
    for words, expected in (
        (["--version"], f"holdcast {version('holdcast')}\n"),
        (["-h"], "Usage: holdcast"),
        (["rank", "-h"], "Usage: holdcast rank"),
    ):
        done = subprocess.run([*python, *words], capture_output=True, text=True, check=False)
        assert done.returncode == 0 and expected in done.stdout, (words, done)


def test_a_shell_can_complete_commands_and_options() -> None:
    import os

    for typed, expected in (("holdcast cl", "classtest"), ("holdcast boat --len", "--length-m")):
        asked = {"_HOLDCAST_COMPLETE": "complete_zsh", "_TYPER_COMPLETE_ARGS": typed}
        python = [sys.executable, "-m", "holdcast"]
        environment = os.environ | asked
        done = subprocess.run(python, env=environment, capture_output=True, text=True, check=False)
        assert expected in done.stdout, done
