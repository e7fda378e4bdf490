"""The drawing library's SVG made lean: the same picture in a fraction of the bytes, with no style element.

What goes: the preamble, identifiers nobody refers to, empty groups, digits below a hundredth of a point, and
paths of equal looks that follow each other (they become one).  Looks stand as attributes rather than as CSS,
so that a page with a strict content-security policy may hold the picture as it is.
"""

import re
from itertools import groupby
from xml.etree import ElementTree as ET

from holdcast.show.figures.svg_paths import short_number, short_path

__all__ = ["lean_svg"]

_SVG, _XLINK = "http://www.w3.org/2000/svg", "http://www.w3.org/1999/xlink"
_HREF = f"{{{_XLINK}}}href"
_NUMBER = re.compile(r"-?\d+\.\d+(?:e-?\d+)?")
_REFERENCE = re.compile(r"#([\w-]+)")
_NO_TURN = re.compile(r"rotate\(-?0 [^)]*\)")
_MEASURES = (
    "x",
    "y",
    "width",
    "height",
    "transform",
    "viewBox",
    "stroke-width",
    "stroke-dasharray",
    "font-size",
)
# Widths were measured in the first; the second is as wide, and what systems have else is narrower.
_FONTS = "DejaVu Sans,Verdana,sans-serif"
_LEAST_RUN = 3
_INHERITED = {
    *("fill", "fill-opacity", "stroke", "stroke-width", "stroke-opacity", "stroke-dasharray"),
    *("stroke-linejoin", "stroke-linecap", "font-size", "font-weight", "font-style", "text-anchor"),
}
_DEFAULTS = {"stroke-dashoffset": "0", "text-anchor": "start"}


def lean_svg(text: str) -> str:
    """Return an SVG document of the drawing library with everything that draws nothing taken out.

    Parameters
    ----------
    text : str
        As the library writes it.

    Returns
    -------
    str
        The same text gives the same text; it ends with a newline.
    """
    # Without a name for its main namespace the writer would put a prefix before every tag.
    ET.register_namespace("", _SVG)
    ET.register_namespace("xlink", _XLINK)
    root = ET.fromstring(text)  # noqa: S314  written by our own drawing a moment ago
    for unwanted in (f"{{{_SVG}}}metadata", f"{{{_SVG}}}style"):
        for parent in list(root.iter()):
            for child in parent.findall(unwanted):
                parent.remove(child)
    referred = {
        name
        for element in root.iter()
        for value in element.attrib.values()
        for name in _REFERENCE.findall(value)
    }
    for element in root.iter():
        _plain_attributes(element, referred)
    _draw_in_place(root)
    _flatten(root)
    # What the style element said of all.
    root.attrib |= {"stroke-linejoin": "round", "stroke-linecap": "butt", "font-family": _FONTS}
    # Neither in a text nor in an attribute can "/>" stand as it is.
    drawing = ET.tostring(root, encoding="unicode").replace(" />", "/>")
    return f'<?xml version="1.0" encoding="utf-8"?>\n{drawing}\n'


def _plain_attributes(element: ET.Element, referred: set[str]) -> None:
    """Turn an element's style into attributes, shorten its numbers, drop what says nothing."""
    if not element.tag.endswith(("text", "title")):
        element.text = None
    element.tail = None
    looks = dict(part.split(": ", 1) for part in element.attrib.pop("style", "").split("; ") if part)
    element.attrib |= looks
    element.attrib.pop("font-family", None)  # the root has it
    if element.get("id") not in referred:
        element.attrib.pop("id", None)
    for name, value in list(element.attrib.items()):
        if _DEFAULTS.get(name) == value or _NO_TURN.fullmatch(value):
            del element.attrib[name]
        elif name in _MEASURES:
            element.set(
                name, _NUMBER.sub(lambda number: short_number(float(number[0])), " ".join(value.split()))
            )


def _draw_in_place(root: ET.Element) -> None:
    """Shorten all paths; what is defined and used once is drawn where it is used."""
    uses: dict[str, list[ET.Element]] = {}
    for use in root.iter(f"{{{_SVG}}}use"):
        uses.setdefault(use.attrib[_HREF].removeprefix("#"), []).append(use)
    parents = {path: parent for parent in root.iter() for path in parent.findall(f"{{{_SVG}}}path")}
    for path, parent in parents.items():
        places = uses.get(path.get("id", ""), [])
        if len(places) == 1:
            parent.remove(path)
            _become(places[0], path)
        else:
            path.set("d", short_path(path.get("d", "")))  # blank where all of it was clipped
            # What each use says again need not stand in the definition.
            for name, value in list(path.attrib.items()):
                if places and all(use.get(name) == value for use in places):
                    del path.attrib[name]


def _become(use: ET.Element, path: ET.Element) -> None:
    """Turn the only use of a path into that path, moved to its place."""
    shift = (float(use.attrib.pop("x", "0")), float(use.attrib.pop("y", "0")))
    del use.attrib[_HREF]
    use.tag = path.tag
    use.attrib |= {name: value for name, value in path.attrib.items() if name != "id"}
    use.set("d", short_path(path.get("d", ""), shift))


def _flatten(parent: ET.Element) -> None:
    """Take children out of groups that say nothing; join neighbouring paths that look alike."""
    children: list[ET.Element] = []
    for child in list(parent):
        _flatten(child)
        bare = child.tag == f"{{{_SVG}}}g" and not child.attrib
        for each in child if bare else [child]:
            if children and _alike(children[-1], each):
                children[-1].set("d", children[-1].attrib["d"] + each.attrib["d"])
            elif not _draws_nothing(each):
                children.append(each)
    for child in list(parent):
        parent.remove(child)
    for _, run in groupby(children, key=_looks):
        parent.extend(_grouped(list(run)))


def _draws_nothing(element: ET.Element) -> bool:
    if element.tag == f"{{{_SVG}}}path" and "id" not in element.attrib:
        unseen = element.get("fill") == "none" and "stroke" not in element.attrib
        return unseen or not element.get("d")
    return not (len(element) or element.attrib or element.text)


def _looks(element: ET.Element) -> tuple[str, tuple[tuple[str, str], ...]]:
    """Return an element's tag and those of its attributes that a group can carry for its members."""
    inherited = {name: value for name, value in element.attrib.items() if name in _INHERITED}
    return element.tag, tuple(sorted(inherited.items()))


def _grouped(run: list[ET.Element]) -> list[ET.Element]:
    """Return neighbours of equal looks in one group that carries the looks, where that is shorter."""
    looks = dict(_looks(run[0])[1])
    if len(run) < _LEAST_RUN or not looks:
        return run
    group = ET.Element(f"{{{_SVG}}}g", looks)
    for element in run:
        for name in looks:
            del element.attrib[name]
    group.extend(run)
    return [group]


def _alike(first: ET.Element, second: ET.Element) -> bool:
    """Whether two paths may be one: the same looks, opaque, and drawn at the same place of the order."""
    if not (first.tag == second.tag == f"{{{_SVG}}}path") or "id" in {*first.attrib, *second.attrib}:
        return False
    if any("opacity" in name for name in first.attrib):
        return False  # where they overlap, two would be darker than one
    looks = [{name: value for name, value in each.attrib.items() if name != "d"} for each in (first, second)]
    return looks[0] == looks[1]
