"""The lean SVG draws what the library's own draws, point by point, and nothing that a strict page refuses."""

import io
import re
from xml.etree import ElementTree as ET

import numpy as np
import pytest

from holdcast.show.figures.capacity import capacity_figure
from holdcast.show.figures.lean_svg import lean_svg
from holdcast.show.figures.paper import own_style, svg_text
from holdcast.show.figures.svg_paths import short_number, short_path

SVG = "{http://www.w3.org/2000/svg}"
HREF = "{http://www.w3.org/1999/xlink}href"


def points_of(path, shift=(0.0, 0.0)):
    """All points of a path, absolute; written apart from the module, for both kinds of command."""
    places, at, start = [], np.zeros(2), np.zeros(2)
    for command, rest in re.findall(r"([MLQCzlqchv])([^MLQCzlqchv]*)", path):
        numbers = [float(n) for n in re.findall(r"-?(?:\d+\.?\d*|\.\d+)(?:e-?\d+)?", rest)]
        if command == "z":
            at = start
        elif command in "hv":
            at = at + ([numbers[0], 0] if command == "h" else [0, numbers[0]])
            places.append(at)
        else:
            pairs = np.array(numbers).reshape(-1, 2) + (at if command.islower() else 0.0)
            places += list(pairs)
            at = pairs[-1]
            start = at if command == "M" else start
    return np.array(places).reshape(-1, 2) + shift


def drawn_points(text):
    """Every point that a drawing puts on the paper, uses of a shape at their place; not what is invisible."""
    root = ET.fromstring(text)
    named = {p.get("id"): p for p in root.iter(f"{SVG}path") if p.get("id")}
    parts = []
    for path in root.iter(f"{SVG}path"):
        looks = str(path.get("style")) + str(path.attrib)
        if not path.get("id") and not ("fill: none" in looks and "stroke: #" not in looks):
            parts.append(points_of(path.get("d")))
    for use in root.iter(f"{SVG}use"):
        shape = named[use.get(HREF).removeprefix("#")]
        parts.append(points_of(shape.get("d"), (float(use.get("x")), float(use.get("y")))))
    return np.concatenate(parts)


@pytest.fixture
def both(make_cells):
    figure = capacity_figure(make_cells(4, 2))
    with own_style():
        figure.savefig(buffer := io.BytesIO(), format="svg", metadata={"Date": None})
    return buffer.getvalue().decode(), svg_text(figure)


def test_every_word_is_kept_in_its_place(both):
    whole, lean = (
        {
            (each.text, round(float(each.get("x")), 2), round(float(each.get("y")), 2))
            for each in ET.fromstring(text).iter(f"{SVG}text")
        }
        for text in both
    )
    assert lean == whole and len(whole) > 30


def test_every_point_is_kept_to_a_hundredth(both):
    whole, lean = (drawn_points(text) for text in both)
    assert len(lean) == len(whole) > 300
    for one, other in ((whole, lean), (lean, whole)):
        nearest = [np.abs(other - point).max(axis=1).min() for point in one]
        assert max(nearest) < 0.011


def test_a_fraction_of_the_bytes_and_nothing_a_strict_page_refuses(both):
    whole, lean = both
    assert len(lean) < 0.45 * len(whole)
    assert not re.search(r"<style| style=|<script|DOCTYPE|<metadata| on\w+=", lean)
    assert lean_svg(whole) == lean
    for reference in re.findall(r"url\(#([^)]+)\)|href=\"#([^\"]+)\"", lean):
        assert f'id="{"".join(reference)}"' in lean


def test_paths_in_steps_hold_the_same_points():
    rng = np.random.default_rng(3)
    path = "M 1.5 2 \nL 1.5 7.254321 \nL -3 7.25 \nz\nM 0 0 \n"
    path += "".join(f"L {x:.6f} {y:.6f} \n" for x, y in rng.normal(0, 300, (400, 2)))
    path += "C 1e-05 2 3 4 5.006 6 \nQ 1 2 3 -4.004 \n"
    np.testing.assert_allclose(points_of(short_path(path)), points_of(path), atol=0.0051)
    moved = points_of(short_path(path, (10.0, -5.0)))
    np.testing.assert_allclose(moved, points_of(path, (10.0, -5.0)), atol=0.0051)
    with pytest.raises(ValueError, match="commands besides"):
        short_path("M 0 0 A 1 1 0 0 0 2 2")


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (0.5, ".5"),
        (-0.5, "-.5"),
        (10.0, "10"),
        (-0.001, "0"),
        (0.0, "0"),
        (12.345678, "12.35"),
        (100.0, "100"),
    ],
)
def test_numbers_are_short(value, text):
    assert short_number(value) == text


def test_a_path_of_which_nothing_is_left_is_left_out():
    """The library writes a path without points for what lies outside the axes altogether."""
    whole = (
        '<svg xmlns="http://www.w3.org/2000/svg"><path style="fill: none; stroke: #000000"/>'
        '<path d="M 0 0 \nL 1 1 \n" style="fill: none; stroke: #000000"/></svg>'
    )
    assert lean_svg(whole).count("<path") == 1
