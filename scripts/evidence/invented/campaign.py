"""One campaign of an invented world: what is true, what was logged and what the program is told."""

import tempfile
import zlib
from pathlib import Path

import numpy as np
import xarray as xr

from holdcast.campaign import read_campaign
from holdcast.capacity.inputs.layout import lay_out
from invented.log import Log, draw_hidden, draw_log, draw_resets, write_campaign
from invented.setting import draw_setting
from invented.truth import EVERY_WORLD, HIDDEN_SEABED, Truth, draw_truth

__all__ = ["draw_campaign", "make_campaign"]


def draw_campaign(world: str, number: int, seed: int) -> tuple[Truth, Log, np.ndarray, np.random.Generator]:
    """Return the truth, the log and the hidden cells, with the generator to go on with."""
    kind = EVERY_WORLD[world]
    generator = np.random.default_rng([seed, zlib.crc32(world.encode()), number])
    truth = draw_truth(kind, generator)
    if kind.unset:
        truth = draw_setting(kind, truth, generator)
    hidden = draw_hidden(generator)
    if kind.covers:
        hidden[:, HIDDEN_SEABED] = True
    return truth, draw_log(kind, truth, hidden, generator), hidden, generator


def make_campaign(
    world: str, number: int, seed: int, labels: str = "blank", resets: bool = False
) -> tuple[Truth, Log, np.ndarray, xr.Dataset]:
    """Return the truth, the log, the hidden cells and what the program is told.

    Pulls, readings and measurements are the same whatever is written in the column `set` and whether
    anchors were set again too.
    """
    truth, log, hidden, generator = draw_campaign(world, number, seed)
    more = draw_resets(truth, log, np.random.default_rng([seed, number])) if resets else None
    with tempfile.TemporaryDirectory() as folder:
        write_campaign(Path(folder), EVERY_WORLD[world], truth, log, generator, labels, more)
        return truth, log, hidden, lay_out(read_campaign(Path(folder)))
