"""What the columns of each file are: names, units, words and limits, as data."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from holdcast.physics.ground.bearing import GREATEST_FRICTION_ANGLE_DEG
from holdcast.physics.ground.soils import SCHEMES, SOILS, class_names, soil_group
from holdcast.physics.units import FACTORS, STORED

__all__ = [
    "FILES",
    "FORMS",
    "REQUIRED_FILES",
    "SOIL_WORDS",
    "STRENGTH_WORDS",
    "TESTS",
    "Column",
    "FileColumns",
]

FORMS = ("twin_fluke", "scoop", "plough", "claw", "stock", "grapnel", "stockless", "other")
TESTS = ("pull", "reset", "veer")
SOIL_WORDS = tuple(SOILS)
FINE_SOILS = tuple(soil for soil in SOILS if soil_group(soil) == "cohesive")

STRENGTH_WORDS: Mapping[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    scheme: (class_names("clay", scheme), class_names("sand", scheme)) for scheme in SCHEMES
}
"""Words of each scheme: of clay and silt, and of the other soils."""


_MUD = "Mud is clay or silt by its finest grains: write clay if it holds together when dry, else silt."
_STONES = "Write gravel for stones of 2 to 63 mm, cobble for larger ones."
_COVER = "That is what lies on top: write it in cover, and what is beneath in soil."
SOIL_MEANINGS: Mapping[str, str] = {
    **dict.fromkeys(("mud", "ooze", "soft mud", "sludge"), _MUD),
    **dict.fromkeys(("pebbles", "pebble", "shingle", "stones", "stone", "grit"), _STONES),
    **dict.fromkeys(
        ("boulder", "boulders", "rubble", "cobbles"), "Write cobble, or rock where nothing moves."
    ),
    **dict.fromkeys(("weed", "kelp", "grass", "seagrass", "eelgrass", "shell", "shells"), _COVER),
    **dict.fromkeys(("coral", "reef", "ledge"), "Write rock."),
}
"""What sailors call grounds; grain sizes of ISO 14688-1 (value from memory)."""

BARE = "none"
COVERS = (BARE, "weed", "shell", "cobble")
"""What mostly lies on top of a seabed; another word is a cover of its own."""
COVER_MEANINGS: Mapping[str, str] = {
    **dict.fromkeys(("grass", "seagrass", "eelgrass", "kelp", "algae", "sea grass", "weeds"), "weed"),
    **dict.fromkeys(("shells", "mussels", "oysters", "broken shell", "shelly"), "shell"),
    **dict.fromkeys(("stones", "stone", "pebbles", "boulders", "rubble", "cobbles"), "cobble"),
    **dict.fromkeys(("bare", "nothing", "no", "clean", "n/a", "-"), BARE),
}
"""What sailors call what lies on top (common practice, no source)."""


@dataclass(frozen=True)
class Column:
    """One column that a file may hold.

    Parameters
    ----------
    name : str
        Name without a unit.
    kind : {"label", "text", "word", "number", "whole", "date", "flag"}
        What its cells are.
    quantity : str
        Key of `units.FACTORS` when a unit ends the column's name; empty otherwise.
    words : tuple of str
        Allowed words, for the kind "word".
    default : str
        Text that a blank cell stands for.
    needed : bool
        Whether the column must be there and every cell filled.
    meanings : mapping of str to str
        What to say to words of another trade, for the kind "word".
    read : bool
        Whether the program does anything with a filled cell but keep it; remarks are kept on purpose.
    above, least, most : float or None
        Limits in the unit kept inside: greater than, not below, not above. The wide ones only keep slips
        of many powers of ten out of the arithmetic (common practice, no source).
    """

    name: str
    kind: str
    quantity: str = ""
    words: tuple[str, ...] = ()
    default: str = ""
    needed: bool = False
    meanings: Mapping[str, str] = field(default_factory=dict, hash=False)
    read: bool = True
    above: float | None = None
    least: float | None = None
    most: float | None = None

    @property
    def stored_name(self) -> str:
        """Name inside the program, with the unit kept inside."""
        return f"{self.name}_{STORED[self.quantity]}" if self.quantity else self.name

    @property
    def written_names(self) -> Mapping[str, str]:
        """Names that a file may use, each with its unit."""
        if not self.quantity:
            return {self.name: ""}
        return {f"{self.name}_{unit}": unit for unit in FACTORS[self.quantity]}


@dataclass(frozen=True)
class FileColumns:
    """The columns of one file; the first is its label, which must be unique."""

    file: str
    columns: tuple[Column, ...]
    required: bool = False
    has_flags: bool = False

    @property
    def label(self) -> str:
        """Name of the label column."""
        return self.columns[0].name

    @property
    def written_names(self) -> frozenset[str]:
        """Names that the file may use for any of its columns, features aside."""
        return frozenset(name for column in self.columns for name in column.written_names)

    def has(self, name: str) -> bool:
        """Whether the file may hold a column (a stored name)."""
        return any(column.stored_name == name for column in self.columns)


def _label(name: str) -> Column:
    return Column(name, "label", needed=True)


_SHACKLE = Column("shackle", "number", "inch size", above=0.0, most=12.0)
_CHAIN = (
    Column("chain", "number", "mass per length", least=0.0, most=1000.0),
    Column("chain_length", "number", "length", least=0.0, most=1e4),
)

ANCHORS = FileColumns(
    "anchors.csv",
    (
        _label("anchor"),
        Column("design", "label"),
        Column("form", "word", words=FORMS, default="other"),
        Column("mass", "number", "mass", needed=True, least=0.01, most=1e6),
        Column("tip_load", "number", "mass", above=0.0, most=1e6),
        Column("tip_fraction", "number", above=0.0, most=1.0),
        Column("fluke_area", "number", "area", above=0.0, most=1000.0),
        Column("fluke_angle", "number", "angle", above=0.0, most=90.0),
        Column("shank_length", "number", "length", above=0.0, most=100.0, read=False),
        _SHACKLE,
        Column("source", "text"),
        Column("measured_by", "text"),
    ),
    required=True,
    has_flags=True,
)

SEABEDS = FileColumns(
    "seabeds.csv",
    (
        _label("seabed"),
        Column("soil", "word", words=SOIL_WORDS, needed=True, meanings=SOIL_MEANINGS),
        Column("secondary", "word", words=SOIL_WORDS, meanings=SOIL_MEANINGS, read=False),
        Column("strength", "text"),
        Column("strength_scheme", "word", words=tuple(STRENGTH_WORDS), default="iso_14688_2"),
        Column("strength_basis", "text"),
        Column("undrained_strength", "number", "strength", above=0.0, most=1e5),
        Column("friction_angle", "number", "angle", above=0.0, most=GREATEST_FRICTION_ANGLE_DEG),
        Column("cover", "text"),
        Column("site", "text"),
        Column("travel", "number", "hours", least=0.0, most=1e4),
        Column("setup", "number", "hours", least=0.0, most=1e4),
        Column("pull", "number", "hours", least=0.0, most=1e4),
    ),
    required=True,
)

TRIALS = FileColumns(
    "trials.csv",
    (
        _label("trial"),
        Column("anchor", "label", needed=True),
        Column("seabed", "label", needed=True),
        Column("test", "word", words=TESTS, needed=True),
        Column("date", "date"),
        Column("visit", "label"),
        Column("held", "number", "force", least=0.0, most=1e9),
        Column("released", "number", "force", above=0.0, most=1e9),
        Column("stopped_by", "word", words=("anchor", "boat_limit", "gear", "safety", "time")),
        Column("load_at", "word", words=("bow", "anchor"), default="bow"),
        Column("speed", "number", "speed", above=0.0, most=100.0),
        Column("scope", "number", least=1.0, most=1000.0),
        Column("rode_length", "number", "length", least=0.01, most=1e5),
        Column("depth", "number", "length", least=0.01, most=12000.0),
        Column("bow_height", "number", "length", least=0.0, most=100.0),
        Column("rode", "label"),
        *_CHAIN,
        Column("drag", "number", "length", least=0.0, most=1e5, read=False),
        Column("hold", "number", "seconds", least=0.0, most=1e8, read=False),
        Column("soak", "number", "hours", least=0.0, most=1e6, read=False),
        Column("instrument", "label"),
        Column("set", "word", words=("yes", "no")),
        Column("attempts", "whole", least=1.0, most=1e6),
        Column("successes", "whole", least=0.0, most=1e6),
        Column("reversal", "number", "angle", above=0.0, most=360.0),
        Column("veer", "number", "angle", above=0.0, most=360.0),
        Column("veer_held", "number", "angle", least=0.0, most=360.0),
        Column("exclude", "text"),
        Column("note", "text"),
        Column("photo", "text"),
    ),
    required=True,
)

RODES = FileColumns(
    "rodes.csv",
    (
        _label("rode"),
        *_CHAIN,
        Column("grade", "word", words=("30", "40", "43", "70")),
        Column("chain", "number", "millimetre size", above=0.0, most=300.0),
        _SHACKLE,
    ),
)

INSTRUMENTS = FileColumns(
    "instruments.csv",
    (
        _label("instrument"),
        Column("calibrated", "date", read=False),
        Column("error_pct", "number", least=0.0, most=100.0),
    ),
)

FILES: tuple[FileColumns, ...] = (ANCHORS, SEABEDS, TRIALS, RODES, INSTRUMENTS)
REQUIRED_FILES = tuple(spec.file for spec in FILES if spec.required)
"""Names of the files, or of the sheets that stand for them, without which there is no campaign."""
