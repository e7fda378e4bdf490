"""holdcast sizes: capacity against mass, the mass that holds a load, and what equals what."""

from typing import Annotated

import typer

from holdcast.commands.answering import Results, ask, records, say_answer, wrapped, write_csv
from holdcast.commands.common import AsJson, InputError, Units, say_json, warn

__all__ = ["sizes"]

Designs = Annotated[
    list[str] | None, typer.Option("--design", help="A design; may be given again. All by default.")
]
Forms = Annotated[
    list[str] | None, typer.Option("--form", help="A new design of a form; may be given again.")
]
Seabeds = Annotated[list[str] | None, typer.Option("--seabed", help="A seabed; may be given again.")]
Masses = Annotated[list[float] | None, typer.Option("--mass-kg", help="A mass; may be given again.")]
LoadKn = Annotated[float | None, typer.Option("--load-kn", help="Also: what mass holds this load?")]
LoadLbf = Annotated[float | None, typer.Option("--load-lbf", help="The same in pounds-force.")]
Equal = Annotated[
    tuple[str, float] | None,
    typer.Option("--equal-to", help="Also: what mass of the others equals this DESIGN at this MASS in kg?"),
]

_NEWTONS = {"kn": 1000.0, "lbf": 4.4482216152605}


def sizes(  # noqa: PLR0913  every option of the command line is an argument
    results: Results,
    design: Designs = None,
    form: Forms = None,
    seabed: Seabeds = None,
    mass_kg: Masses = None,
    load_kn: LoadKn = None,
    load_lbf: LoadLbf = None,
    equal_to: Equal = None,
    units: Units = None,
    as_json: AsJson = False,
) -> None:
    """Show capacity against mass for a design or form, and what mass holds a load.

    Example: holdcast sizes my-campaign/results --design A --seabed "creek silt" --load-kn 5 --equal-to A 10
    """
    from holdcast.answers.sizes import equal_mass, mass_for_load
    from holdcast.answers.sizes import sizes as capacity_by_size
    from holdcast.capacity import load
    from holdcast.show.sizes_figure import save_sizes_figure
    from holdcast.show.sizes_view import equal_lines, load_lines, size_lines, size_sentences, sizes_table

    fit, shown = load(results), units or "si"
    load_n = _load_n(load_kn, load_lbf)
    asked, forms, places = design or None, form or (), seabed or None
    answer = ask(
        lambda: capacity_by_size(fit, designs=asked, forms=forms, seabeds=places, mass_kg=mass_kg or None)
    )
    held = (
        None
        if load_n is None
        else ask(lambda: mass_for_load(fit, load_n, designs=asked, forms=forms, seabeds=places))
    )
    others = [name for name in design if name != equal_to[0]] if design and equal_to else None
    equal = (
        ask(lambda: equal_mass(fit, *equal_to, others=others or None, seabeds=seabed or None))
        if equal_to
        else None
    )
    table = sizes_table(answer)
    write_csv(table, results / "sizes.csv")
    for path in save_sizes_figure(answer, results / "figures", shown, reliable=fit.verdict.ok):
        warn(f"  wrote {path}")
    if as_json:
        parts = {"load": held, "equal": equal}
        extra = {
            name: records(part.to_dataframe().reset_index())
            for name, part in parts.items()
            if part is not None
        }
        say_json({"ok": fit.verdict.ok, "sizes": records(table), **extra})
        return
    lines = [*size_lines(table, shown), "", *wrapped(size_sentences(table))]
    lines += ["", *load_lines(held, shown)] if held is not None else []
    lines += ["", *equal_lines(equal, shown)] if equal is not None else []
    say_answer(fit, lines)


def _load_n(load_kn: float | None, load_lbf: float | None) -> float | None:
    if load_kn is not None and load_lbf is not None:
        raise InputError("give the load once, with --load-kn or --load-lbf")
    if load_kn is not None:
        return load_kn * _NEWTONS["kn"]
    return None if load_lbf is None else load_lbf * _NEWTONS["lbf"]
