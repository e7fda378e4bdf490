"""Cells, names and bytes that tables meet in the wild, and some that only ill will writes."""

import random
from collections.abc import Callable

__all__ = ["CELLS", "NAMES", "mutated_bytes", "nasty_text"]

CELLS = (
    *(
        "",
        " ",
        "0",
        "-1",
        "1",
        "1e308",
        "1e-320",
        "nan",
        "inf",
        "-inf",
        "1,5",
        "1.200,5",
        "1 000",
        "0x10",
        "1_0",
    ),
    *(
        "9" * 400,
        "1e999",
        "٣",
        "½",
        "1\u00a0000",
        "−5",
        "=1+1",
        "@x",
        "+7",
        "TRUE",
        "yes",
        "no",
        "#REF!",
        "None",
    ),
    *(
        "2024-02-30",
        "31/12/2024",
        "2024-05-31",
        "0001-01-01",
        "9999-12-31",
        "20240531",
        "pull",
        "reset",
        "veer",
    ),
    *(
        "clay",
        "sand",
        "very_high",
        "twin_fluke",
        "anchor",
        "boat_limit",
        "bow",
        "gear",
        "a" * 250,
        "b" * 20_000,
    ),
    *(
        'a"b',
        "a,b",
        "a;b",
        "a\nb",
        "a\tb",
        "<script>alert(1)</script>",
        "$x^2$",
        "\\frac{",
        "{{7*7}}",
        "%s",
        "../../x",
    ),
    *("\u202eabc", "e\u0301", "🜨", "\u200b", "null", "A", "B", "mud", "é", "\x00", "\x1b[31m", "’", "´"),
)
NAMES = (
    *(
        "price/eur",
        "wind/gust",
        ".",
        "..",
        "/",
        "%",
        "%2F",
        "a.b",
        "a b",
        " a",
        "a ",
        "",
        "anchor",
        "seabed",
        "trial",
    ),
    *(
        "mass_kg",
        "mass_lb",
        "Mass_kg",
        "mass_t",
        "held_n",
        "held_kn",
        "released_lbf",
        "flag_",
        "flag_x/y",
        "flag_A b",
    ),
    *(
        "chain",
        "draw",
        "status",
        "index",
        "dtype",
        "units",
        "_FillValue",
        "coordinates",
        "CLASS",
        "NAME",
        "posterior",
    ),
    *(
        "price",
        "note",
        "nоte",
        "a" * 199,
        "a" * 300,
        "=x",
        "<b>",
        "$m$",
        "🜨",
        "e\u0301",
        "\u202e",
        "a\nb",
        "1",
        "None",
    ),
)


def nasty_text(chance: random.Random) -> str:
    """Return a cell: a listed one, a number of any size, or a few letters of any script."""
    kind = chance.random()
    if kind < 0.6:
        return chance.choice(CELLS)
    if kind < 0.8:
        return repr(chance.choice((-1, 1)) * 10 ** chance.uniform(-12, 12))
    return "".join(
        chr(chance.choice((chance.randrange(32, 127), chance.randrange(160, 0x2FFF)))) for _ in range(6)
    )


def mutated_bytes(data: bytes, chance: random.Random) -> bytes:
    """Return bytes with some turned, cut off, doubled, put in or taken out."""
    if not data:
        return bytes(chance.randrange(256) for _ in range(20))
    changes: tuple[Callable[[bytes, int], bytes], ...] = (
        lambda d, at: d[:at] + bytes([chance.randrange(256)]) + d[at + 1 :],
        lambda d, at: d[:at],
        lambda d, at: d[:at] + d[at : at + 40] + d[at:],
        lambda d, at: d[:at] + bytes(chance.randrange(256) for _ in range(8)) + d[at:],
        lambda d, at: d[:at] + d[at + chance.randrange(1, 60) :],
        lambda d, at: d[:at] + d[at : at + 1].swapcase() + d[at + 1 :],
    )
    for _ in range(chance.choice((1, 1, 1, 2, 5))):
        data = chance.choice(changes)(data, chance.randrange(len(data) or 1))
    return data
