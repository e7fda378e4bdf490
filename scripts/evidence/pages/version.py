"""The line of a page that says of which version of the model its numbers are."""

from collections.abc import Iterable

from holdcast.evaluate.model_digest import model_digest


def version_line(digests: Iterable[str] = ()) -> str:
    """Return the line for outcomes of these digests, or of the model as it is."""
    names = ", ".join(sorted(set(digests) or {model_digest()}))
    return f"Version of the model (digest of its source): {names}."
