"""What every page that works offline is made with: escaping templates, a policy by hashes, data as JSON."""

import base64
import hashlib
import json
from collections.abc import Mapping
from importlib.resources import files

from jinja2 import Environment, FunctionLoader, StrictUndefined
from markupsafe import Markup

from holdcast.show.text.text_columns import plain

__all__ = ["file_text", "render", "safe_json", "source_hash", "trusted"]


def file_text(package: str, name: str) -> str:
    """Return the text of one of our own files: a template, a style, a script."""
    return files(package).joinpath(name).read_text(encoding="utf-8")


def render(package: str, template: str, content: Mapping[str, object]) -> str:
    """Return a page from the template of a package.

    Everything that is not the template's own is escaped; names cannot hide invisible characters either.
    """
    environment = Environment(
        loader=FunctionLoader(lambda name: file_text(package, name)),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=_finished,
    )
    return environment.get_template(template).render(**content)


def trusted(text: str) -> Markup:
    """Mark our own files' text, and data from :func:`safe_json`, as needing no escape."""
    return Markup(text)  # noqa: S704  nothing of the campaign's own words goes this way unescaped


def safe_json(content: Mapping[str, object]) -> str:
    """Return JSON that cannot end the element it stands in, whatever the campaign's names are."""
    text = json.dumps(content, ensure_ascii=True, allow_nan=False, separators=(",", ":"))
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


def source_hash(text: str) -> str:
    """Return the hash by which a page's policy lets one script or style through, and no other."""
    return "'sha256-" + base64.b64encode(hashlib.sha256(text.encode("utf-8")).digest()).decode("ascii") + "'"


def _finished(value: object) -> object:
    return value if isinstance(value, Markup) else plain(value)
