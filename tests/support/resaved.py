"""A saved fit, changed in its files as they lie: to write its 300 variables anew takes seconds."""

import json
from dataclasses import replace
from pathlib import Path

import h5py
import numpy as np

from holdcast.capacity.results.attributes import VERDICT_ATTRIBUTE
from holdcast.capacity.results.pair import POSTERIOR_FILE, VERDICT_FILE, digest_of
from holdcast.capacity.results.verdict_file import read_verdict, verdict_text


def resaved(folder: Path, *, capacity: float = 0.0, seed: int | None = None, **verdict: object) -> Path:
    """Change fields of the verdict, the seed, or the log of every capacity; return the folder."""
    changed = replace(read_verdict(folder / VERDICT_FILE)[0], **verdict)
    path = folder / POSTERIOR_FILE
    with h5py.File(path, "r+") as file:
        file.attrs[VERDICT_ATTRIBUTE] = json.dumps(changed.as_dict(), allow_nan=False)
        if seed is not None:
            file.attrs["seed"] = np.array([seed])
        if capacity:
            values = file["posterior/log_capacity"]
            values[...] = values[...] + capacity
    text = verdict_text(changed, digest_of(path))
    (folder / VERDICT_FILE).write_text(text, encoding="utf-8")
    return folder
