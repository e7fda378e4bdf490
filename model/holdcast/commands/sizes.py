"""The command sizes: capacity against mass, the mass that holds a load, and what equals what."""

from collections.abc import Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from holdcast.commands.shared.answering import (
    Everything,
    Picture,
    PictureSizes,
    Results,
    Seabeds,
    ask,
    records,
    say_answer,
    say_drawn,
    say_reading,
    shown_units,
    wrapped,
    write_csv,
)
from holdcast.commands.shared.common import AsJson, InputError, Units, say_json

if TYPE_CHECKING:
    import pandas as pd
    import xarray as xr

    from holdcast.capacity import Fit
    from holdcast.show.figures.sheet import PictureSize

__all__ = ["sizes"]

Designs = Annotated[
    list[str] | None, typer.Option("--design", help="A design; may be given again. All by default.")
]
Forms = Annotated[
    list[str] | None, typer.Option("--form", help="A new design of a form; may be given again.")
]
Masses = Annotated[list[float] | None, typer.Option("--mass-kg", help="A mass; may be given again.")]
LoadKn = Annotated[float | None, typer.Option("--load-kn", help="Also: what mass holds this load?")]
LoadLbf = Annotated[float | None, typer.Option("--load-lbf", help="The same in pounds-force.")]
Equal = Annotated[
    tuple[str, float] | None,
    typer.Option("--equal-to", help="Also: what mass of the others equals this DESIGN at this MASS in kg?"),
]


def sizes(  # noqa: PLR0913  every option of the command line is an argument
    results: Results,
    design: Designs = None,
    form: Forms = None,
    seabed: Seabeds = None,
    mass_kg: Masses = None,
    load_kn: LoadKn = None,
    load_lbf: LoadLbf = None,
    equal_to: Equal = None,
    everything: Everything = False,
    picture: Picture = False,
    picture_size: PictureSizes = None,
    units: Units = None,
    as_json: AsJson = False,
) -> None:
    """Show capacity against mass for a design or form, and what mass holds a load.

    Example: holdcast sizes my-campaign/results --design A --seabed "creek silt" --load-kn 5 --equal-to A 10
    """
    say_reading(results)
    from holdcast.answers.sizes.sizes import sizes as capacity_by_size
    from holdcast.capacity import load
    from holdcast.show.views.sizes import sizes_table

    load_n = _load_n(load_kn, load_lbf)
    fit = load(results)
    screen = shown_units(fit, units)
    designs, forms, places = design or None, form or [], seabed or None
    answer = ask(
        lambda: capacity_by_size(fit, designs=designs, forms=forms, seabeds=places, mass_kg=mass_kg or None)
    )
    more = _more(fit, load_n, equal_to, places, (designs, forms))
    table = sizes_table(answer)
    write_csv(table, results / "sizes.csv", approximate=fit.verdict.approximate)
    _write_more(more, results, approximate=fit.verdict.approximate)
    say_drawn(partial(_draw, fit, answer, results / "figures", screen), picture, picture_size)
    if as_json:
        extra = {name: records(part.to_dataframe().reset_index()) for name, part in more.items()}
        marks = {"ok": fit.verdict.ok, "approximate": fit.verdict.approximate}
        say_json({**marks, "sizes": records(table), **extra})
        return
    short = _short_lines(table, more, screen, bool(mass_kg))
    say_answer(fit, _all_lines(table, more, screen) if everything else short)


def _draw(
    fit: "Fit", answer: "xr.Dataset", folder: Path, units: str, shapes: "Sequence[PictureSize]"
) -> list[Path]:
    from holdcast.show.figures.sizes import save_sizes_figure

    return save_sizes_figure(answer, folder, units, reliable=fit.verdict.ok, sizes=shapes)


def _more(
    fit: "Fit",
    load_n: float | None,
    equal_to: tuple[str, float] | None,
    places: list[str] | None,
    shapes: tuple[list[str] | None, list[str]],
) -> dict[str, "xr.Dataset"]:
    """Return the answers about a load and about equal masses that were asked for, over the same shapes."""
    from holdcast.answers.sizes.sizes import equal_mass, mass_for_load

    more, (designs, forms) = {}, shapes
    if load_n is not None:
        more["load"] = ask(lambda: mass_for_load(fit, load_n, designs=designs, forms=forms, seabeds=places))
    if equal_to is not None:
        others = [name for name in designs or () if name != equal_to[0]] or None
        more["equal"] = ask(lambda: equal_mass(fit, *equal_to, others=others, seabeds=places))
    return more


def _write_more(more: dict[str, "xr.Dataset"], folder: Path, *, approximate: bool) -> None:
    from holdcast.show.views.sizes_short import sizes_of_load_table

    if "load" in more:
        write_csv(sizes_of_load_table(more["load"]), folder / "sizes_load.csv", approximate=approximate)


def _all_lines(table: "pd.DataFrame", more: dict[str, "xr.Dataset"], units: str) -> list[str]:
    from holdcast.show.views.sizes import equal_lines, load_lines, size_lines, size_sentences

    lines = [*size_lines(table, units), "", *wrapped(size_sentences(table, units))]
    lines += ["", *load_lines(more["load"], units)] if "load" in more else []
    return lines + (["", *equal_lines(more["equal"], units)] if "equal" in more else [])


def _short_lines(table: "pd.DataFrame", more: dict[str, "xr.Dataset"], units: str, named: bool) -> list[str]:
    """Return what was asked first: masses for a load or of equal capacity, else capacities by mass."""
    from holdcast.show.views.sizes import size_sentences
    from holdcast.show.views.sizes_short import equal_short_lines, load_short_lines, size_short_lines

    blocks = [load_short_lines(more["load"], units)] if "load" in more else []
    blocks += [equal_short_lines(more["equal"], units)] if "equal" in more else []
    if not more or named:
        blocks.append(size_short_lines(table, units, own_masses=named))
    whole = "Every shape, seabed and mass: sizes.csv, or --all."
    lines = [line for block in blocks for line in (*block, "")]
    return [*lines, *wrapped([*size_sentences(table, units), whole])]


def _load_n(load_kn: float | None, load_lbf: float | None) -> float | None:
    from holdcast.physics.units import to_stored

    if load_kn is not None and load_lbf is not None:
        raise InputError("give the load once, with --load-kn or --load-lbf")
    if load_kn is not None:
        return to_stored(load_kn, "force", "kn")
    return None if load_lbf is None else to_stored(load_lbf, "force", "lbf")
