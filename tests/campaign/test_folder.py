"""Folders that are not what they should be: findings, never tracebacks."""

import os
from pathlib import Path

import pytest

from holdcast.campaign import CampaignError, read_campaign


def faults_of(path):
    with pytest.raises(CampaignError, match="fault") as caught:
        read_campaign(path)
    return [f for f in caught.value.findings if f.severity == "fault"]


def test_path_that_does_not_exist(tmp_path):
    (fault,) = faults_of(tmp_path / "nowhere")
    assert fault.found.startswith("no such folder")


def test_path_of_a_file(write):
    (fault,) = faults_of(write() / "trials.csv")
    assert (fault.found, fault.fix) == ("a file", "Give the folder that the file lies in.")


@pytest.mark.parametrize("name", ["nul\0byte", "x" * 5000])
def test_impossible_paths(name):
    assert len(faults_of(name)) == 1


def test_empty_folder(tmp_path):
    assert [(f.file, f.found) for f in faults_of(tmp_path)] == [
        (f"{name}.csv", "no such file") for name in ("anchors", "seabeds", "trials")
    ]


@pytest.mark.parametrize(("wrong", "right"), [("trial.csv", "trials.csv"), ("Anchors.csv", "anchors.csv")])
def test_file_of_nearly_the_right_name(write, wrong, right):
    folder = write()
    (folder / right).rename(folder / wrong)
    (fault,) = faults_of(folder)
    assert (fault.file, fault.fix) == (wrong, f"Rename it to {right}.")


def test_other_files_are_left_alone(write):
    folder = write()
    for name in ("requests.csv", "README.md", "prices.csv"):
        (folder / name).write_bytes(b"\xff")
    (folder / "results").mkdir()
    assert read_campaign(folder).doubts == ()


def test_folder_in_place_of_a_file(write):
    folder = write(rodes=None)
    (folder / "rodes.csv").mkdir()
    (fault,) = faults_of(folder)
    assert (fault.file, fault.found) == ("rodes.csv", "a folder")


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="needs named pipes")
def test_pipe_in_place_of_a_file_does_not_hang(write):
    folder = write()
    os.mkfifo(folder / "rodes.csv")
    (fault,) = faults_of(folder)
    assert fault.found == "no ordinary file"


def test_permission_denied(write, monkeypatch):
    folder = write()
    real = Path.read_bytes

    def refuse(path):
        if path.name == "seabeds.csv":
            raise PermissionError(13, "Permission denied")
        return real(path)

    monkeypatch.setattr(Path, "read_bytes", refuse)
    (fault,) = faults_of(folder)
    assert (fault.file, fault.found) == ("seabeds.csv", "cannot be read (permission denied)")


def test_unreadable_folder(write, monkeypatch):
    def refuse(path):
        raise PermissionError(13, "Permission denied")

    folder = write()
    monkeypatch.setattr(Path, "iterdir", refuse)
    (fault,) = faults_of(folder)
    assert fault.found == "cannot be read (permission denied)"
