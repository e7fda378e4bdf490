"""The standing cautions: they go with every capacity that anybody is shown."""

__all__ = ["CAUTIONS", "CAUTION_OF_PICTURES", "SHORT_CAUTION"]

CAUTIONS: tuple[str, ...] = (
    "A capacity here is a typical test pull in one place: not a safety factor, not a guarantee.",
    "Set the anchor, then check that it holds.",
    "Gusts, waves and surge load it more than a steady wind does.",
    "A rode under load can maim when it parts or slips: stand clear.",
    "Follow the maker's rules and local rules; ask a qualified person where lives or class depend on it.",
)
"""Plain sentences, one warning each, in order of what a reader is most likely to get wrong."""

SHORT_CAUTION = "Typical test pulls in one place: no guarantee, no safety factor. Gusts and surge load more."
"""What stays in sight at every place of the page, and on every printed page."""

CAUTION_OF_PICTURES = f"{SHORT_CAUTION} A rode under load can maim."
"""For a picture of a fixed shape, which has no room for all of them."""
