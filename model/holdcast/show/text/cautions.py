"""The standing cautions: they go with every capacity that anybody is shown."""

__all__ = ["CAUTIONS"]

CAUTIONS: tuple[str, ...] = (
    "A capacity here is a typical test pull in one place: not a safety factor, not a guarantee.",
    "Set the anchor, then check that it holds.",
    "Loads rise with gusts, waves and surge, above what a steady wind gives.",
    "A rode under load can maim when it parts or slips: stand clear of it.",
    "Follow the maker's rules and local rules, and a qualified person's advice where lives or class rules "
    "depend on the anchor.",
)
"""Plain sentences, one warning each, in order of what a reader is most likely to get wrong."""
