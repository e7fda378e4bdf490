"""The picture of what the model misses: residuals against each covariate, and their spread by seabed."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from holdcast.show.figures.criticism_chances import CHANCES_HEADING, any_chance, draw_chances
from holdcast.show.figures.criticism_panels import draw_residuals, draw_seabeds, write_title
from holdcast.show.figures.panel import SOFT, mark_unreliable
from holdcast.show.figures.paper import (
    broken_lines,
    foot_lines,
    head_lines,
    open_page,
    own_style,
    place_axes,
    write_figure,
    write_in_sizes,
    write_lines,
)
from holdcast.show.figures.picture_measures import LINE_PITCH, MARGIN, Format, height_of, panel_grid
from holdcast.show.figures.sheet import PictureSize
from holdcast.show.text.sentences import provenance_sentence
from holdcast.show.views.criticise.sentences import Criticism, skipped_sentence

if TYPE_CHECKING:
    import xarray as xr
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = [
    "STRIP_HEADING",
    "TITLE",
    "chances_drawn",
    "covariates_drawn",
    "criticism_figure",
    "foot_texts",
    "save_criticism_figures",
]

_LEFT, _GAP, _BELOW = 0.3, 0.2, 0.36
_WIDEST = 3.4
_CHANCES, _CHANCES_WIDEST, _CHANCES_LEFT = 2.0, 3.6, 0.42
_MARK_POINTS = 16.0
TITLE = "What the model misses"
_READING = (
    "One point a pull: its residual (up), standard normal when the model is right; nine in ten lie between "
    "the dotted lines. Hollow: load known from one side only.",
    "Line: local mean with its 90% band, which counts visits and anchors, not pulls. It stays near 0 when "
    "the model misses nothing.",
    "The words above each panel say what a pull is compared with: what was expected of it left out, of a new "
    "visit, or of a new design.",
)
STRIP_HEADING = (
    "By seabed: residuals of pulls left out. The bar holds nine in ten of them. Longer than the dotted "
    "lines: pulls scatter wider than the model says; shorter: narrower."
)


class _Sizes(NamedTuple):
    """Of panels, in inches: height, width, what stands above one, and the strip of seabeds."""

    panel: float
    width: float
    above: float
    strip: float

    @property
    def step(self) -> float:
        """From one row of panels to the next."""
        return self.above + self.panel + _BELOW


def criticism_figure(
    answer: Criticism, units: str = "si", *, narrow: bool = False, reliable: bool = True
) -> "Figure":
    """Draw the residuals against each covariate with a smooth and its band, and those of each seabed.

    Parameters
    ----------
    answer : Criticism
        Residuals, covariates, trends, smooth and scatter of a fit.
    units : {"si", "us"}
        Of what pulls are looked at against.
    narrow : bool
        Two columns for a phone, about 390 CSS pixels wide.
    reliable : bool
        The verdict's ``ok``; when false the figure and every panel are marked.
    """
    with own_style():
        form = Format.narrow(2) if narrow else Format.wide(4)
        trends = answer.trends
        names = covariates_drawn(answer)
        down, across = panel_grid(len(names), form.most_columns) if names else (0, 1)
        sizes = _sizes(answer, form, across)
        head = head_lines(form, TITLE, _READING, reliable=reliable)
        middle = broken_lines(STRIP_HEADING, form.room, form.points, colour=SOFT)
        chances = chances_drawn(answer)
        body = down * sizes.step + 0.1 + height_of(middle) + sizes.strip + 0.42
        below = 0.0 if chances is None else height_of(_chances_heading(form)) + _CHANCES + 0.42
        figure, begin = open_page(form, head, foot_lines(form, foot_texts(answer)), body + below)
        for number, name in enumerate(names):
            level, column = divmod(number, across)
            left = MARGIN + _LEFT + column * (sizes.width + _GAP)
            top = begin + level * sizes.step + sizes.above
            axes = place_axes(figure, left, top, sizes.width, sizes.panel)
            draw_residuals(axes, answer, name, units, first=column == 0)
            room = (sizes.width, sizes.panel)
            write_title(axes, trends.sel(covariate=name), units, room, form.points, narrow=narrow)
            if not reliable:
                mark_unreliable(axes, _MARK_POINTS)
        depth = write_lines(figure, middle, begin + down * sizes.step + 0.1)
        room_of_strip = (form.room - 0.1) * (1.0 if narrow else 0.5)
        axes = place_axes(figure, MARGIN, depth + 0.1, room_of_strip, sizes.strip)
        draw_seabeds(axes, answer, form.points, narrow=narrow)
        drawn = [axes] if chances is None else [axes, _place_chances(figure, chances, form, begin + body)]
        for each in [] if reliable else drawn:
            mark_unreliable(each, _MARK_POINTS)
        return figure


def covariates_drawn(answer: Criticism) -> list[str]:
    """Return what pulls were looked at against."""
    trends = answer.trends
    return [str(name) for name in trends["covariate"].to_numpy()[trends["skipped"].to_numpy() == ""]]


def _chances_heading(form: Format) -> Any:  # noqa: ANN401  lines as the paper breaks them
    return broken_lines(CHANCES_HEADING, form.room, form.points, colour=SOFT)


def _place_chances(figure: "Figure", chances: "xr.Dataset", form: Format, top: float) -> "Axes":
    """Draw the panel of chances under its heading, from so far below the top of the page [in]."""
    depth = write_lines(figure, _chances_heading(form), top)
    width = min(form.room - _CHANCES_LEFT - 0.1, _CHANCES_WIDEST)
    axes = place_axes(figure, MARGIN + _CHANCES_LEFT, depth + 0.1, width, _CHANCES)
    draw_chances(axes, chances, form.points - 2)
    return axes


def chances_drawn(answer: Criticism) -> "xr.Dataset | None":
    """Return the chances that are drawn; none where the log holds too few tests of any."""
    if answer.setting is None or not any_chance(answer.setting.chances):
        return None
    return answer.setting.chances


def save_criticism_figures(
    answer: Criticism,
    folder: Path,
    units: str = "si",
    *,
    reliable: bool = True,
    sizes: Sequence[PictureSize] = (),
) -> list[Path]:
    """Write ``criticism`` and ``criticism-narrow`` as SVG and PNG, and ``criticism`` in fixed shapes.

    The same answer gives the same bytes.
    """
    from holdcast.show.figures.fixed.criticisms import fixed_criticisms

    written = []
    for name, narrow in (("criticism", False), ("criticism-narrow", True)):
        figure = criticism_figure(answer, units, narrow=narrow, reliable=reliable)
        written += write_figure(figure, folder, name)

    def fixed(size: PictureSize) -> "list[Figure]":
        return fixed_criticisms(answer, size, units, reliable=reliable)

    return [*written, *write_in_sizes(fixed, folder, "criticism", sizes)]


def _sizes(answer: Criticism, form: Format, across: int) -> _Sizes:
    lines = 3 if form.is_narrow else 2
    return _Sizes(
        panel=1.25 if form.is_narrow else 1.65,
        width=min((form.room - _LEFT) / across - _GAP, _WIDEST),
        above=lines * form.points * LINE_PITCH / 72 + 0.12,
        strip=answer.scatter.sizes["seabed"] * (0.52 if form.is_narrow else 0.3),
    )


def foot_texts(answer: Criticism) -> tuple[str, str]:
    """Return how many looks were taken, and where it all comes from."""
    looks = int(np.isfinite(answer.trends["p_value"]).sum())
    text = f"{looks} looks for a slope or a bow; a star marks one beyond what chance brings to so many."
    text = " ".join([text, *skipped_sentence(answer.trends)])
    return text, provenance_sentence(answer.residuals.attrs)
