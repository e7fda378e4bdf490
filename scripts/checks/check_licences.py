"""Check that everything the program needs at run time carries a permissive licence.

Walks the requirements of holdcast through the installed packages and reads each one's own licence statement.
Run as ``python scripts/checks/check_licences.py [PACKAGE]``; exit status 1 names every package that is
not allowed.
"""

import re
import sys
from collections.abc import Iterable
from importlib.metadata import Distribution, PackageNotFoundError, distribution

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ALLOWED = {
    "0bsd", "apache-2.0", "apache-2.0 with llvm-exception", "bsd", "bsd-2-clause", "bsd-3-clause", "cc0-1.0",
    "hpnd", "isc", "mit", "mit-cmu", "mpl-2.0", "psf-2.0", "python-2.0", "unlicense", "zlib",
}  # fmt: skip
# Free-text names that packages use, and classifiers' last parts, in the words of SPDX.
SAME_AS = {
    "apache 2.0": "apache-2.0",
    "apache license, version 2.0": "apache-2.0",
    "apache software license": "apache-2.0",
    "bsd license": "bsd",
    "historical permission notice and disclaimer (hpnd)": "hpnd",
    "isc license (iscl)": "isc",
    "mit license": "mit",
    "mozilla public license 2.0 (mpl 2.0)": "mpl-2.0",
    "python software foundation license": "psf-2.0",
    "the unlicense (unlicense)": "unlicense",
}


def closure(root: str) -> dict[str, Distribution]:
    """Return every package that `root` needs at run time on this machine, by canonical name.

    Raises
    ------
    SystemExit
        When a needed package is not installed: an incomplete walk would prove nothing.
    """
    distributions: dict[str, Distribution] = {}
    waiting: list[tuple[str, tuple[str, ...]]] = [(root, ())]
    seen: set[tuple[str, tuple[str, ...]]] = set()
    while waiting:
        name, extras = waiting.pop()
        if (canonicalize_name(name), extras) in seen:
            continue
        seen.add((canonicalize_name(name), extras))
        try:
            package = distribution(name)
        except PackageNotFoundError:
            raise SystemExit(f"{name} is needed and not installed; set the project up first") from None
        distributions[canonicalize_name(name)] = package
        for text in package.requires or ():
            requirement = Requirement(text)
            environments = [{"extra": extra} for extra in ("", *extras)]
            if requirement.marker is None or any(requirement.marker.evaluate(e) for e in environments):
                waiting.append((requirement.name, tuple(sorted(requirement.extras))))
    return distributions


def stated_licence(package: Distribution) -> str:
    """Return what a package says of its licence: its SPDX expression, else classifiers, else free text."""
    metadata = package.metadata
    if expression := metadata.get("License-Expression"):
        return expression
    classifiers = metadata.get_all("Classifier") or []
    named = [c.split(" :: ")[-1] for c in classifiers if c.startswith("License ::") and c.count(" :: ") > 1]
    if named:
        return " AND ".join(named)
    return (metadata.get("License") or "").strip().split("\n")[0]


def is_allowed(licence: str) -> bool:
    """Tell whether a licence statement is permissive: every part joined by AND, any part joined by OR."""
    plain = re.sub(r"\s+", " ", licence.strip().lower())
    plain = SAME_AS.get(plain, plain)
    if plain in ALLOWED:
        return True
    # AND binds closer than OR, so the text is split at OR first.
    if len(choices := _split(plain, " or ")) > 1:
        return any(is_allowed(part) for part in choices)
    if len(parts := _split(plain, " and ")) > 1:
        return all(is_allowed(part) for part in parts)
    return plain.startswith("(") and plain.endswith(")") and is_allowed(plain[1:-1])


def _split(text: str, word: str) -> list[str]:
    """Split at a joining word outside brackets."""
    parts, depth, start = [], 0, 0
    for place, letter in enumerate(text):
        depth += (letter == "(") - (letter == ")")
        if depth == 0 and text.startswith(word, place):
            parts.append(text[start:place])
            start = place + len(word)
    return [*parts, text[start:]]


def faults(packages: Iterable[Distribution]) -> list[str]:
    """Return one line for each package whose licence is missing or not on the list."""
    stated = {f"{package.name} {package.version}": stated_licence(package) for package in packages}
    return [
        f"{name}: licence {licence or 'not stated'!r} is not on the list"
        for name, licence in stated.items()
        if not is_allowed(licence)
    ]


def main() -> None:
    """Print the packages and their licences; fail when one is not allowed."""
    packages = closure(sys.argv[1] if len(sys.argv) > 1 else "holdcast")
    for name, package in sorted(packages.items()):
        print(f"{name} {package.version}: {stated_licence(package)}")
    wrong = faults(packages.values())
    if wrong:
        raise SystemExit("\n".join(["these licences are not allowed:", *wrong]))
    print(f"{len(packages)} packages, all permissive")


if __name__ == "__main__":
    main()
