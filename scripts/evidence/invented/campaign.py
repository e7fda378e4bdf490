"""One campaign of an invented world: what is true, what was logged and what the program is told."""

import tempfile
import zlib
from pathlib import Path

import numpy as np
import xarray as xr

from holdcast.campaign import read_campaign
from holdcast.capacity.inputs.layout import lay_out
from invented.log import Log, draw_hidden, draw_log, write_campaign
from invented.truth import WORLDS, Truth, draw_truth

__all__ = ["draw_campaign", "make_campaign"]


def draw_campaign(world: str, number: int, seed: int) -> tuple[Truth, Log, np.ndarray, np.random.Generator]:
    """Return the truth, the log and the hidden cells, with the generator to go on with."""
    generator = np.random.default_rng([seed, zlib.crc32(world.encode()), number])
    truth = draw_truth(WORLDS[world], generator)
    hidden = draw_hidden(generator)
    return truth, draw_log(WORLDS[world], truth, hidden, generator), hidden, generator


def make_campaign(world: str, number: int, seed: int) -> tuple[Truth, Log, np.ndarray, xr.Dataset]:
    """Return the truth, the log, the hidden cells and what the program is told."""
    truth, log, hidden, generator = draw_campaign(world, number, seed)
    with tempfile.TemporaryDirectory() as folder:
        write_campaign(Path(folder), WORLDS[world], truth, log, generator)
        return truth, log, hidden, lay_out(read_campaign(Path(folder)))
