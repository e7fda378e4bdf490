"""What a crew reads before the first pull: people and boat come before the log."""

__all__ = ["SAFETY", "SAFETY_IN_ONE_LINE"]

SAFETY: tuple[str, ...] = (
    "Stand clear of a loaded rode. If it parts or slips it flies back along its line, and it maims.",
    "Nobody in the bight, nobody in line with the rode, nobody over it. Watch it from the side.",
    "The boat's handling first, the log second. One steers, one watches the load; both know a word for stop.",
    "Agree the largest load before the first pull, by the weakest link. Stop there: that is a result too.",
    "Be able to let go under load, with a knife at hand. Never free a loaded rode with your fingers.",
    "Life jackets on. Keep room to leeward, clear of cables, channels and other boats' anchors.",
    "Somebody ashore knows when you will be back. No pull and no repeat is worth bad weather or the dark.",
)
"""Plain sentences, the one that saves most first."""

SAFETY_IN_ONE_LINE = "Stand clear of the rode, nobody in the bight. Boat first, log second."
"""What stays in sight while somebody types."""
