"""Signs that a terminal's encoding lacks, written with those that every terminal has."""

import codecs

__all__ = ["PLAIN_SIGNS"]

PLAIN_SIGNS = "plain_signs"
"""Name of the way to meet what cannot be written, for ``reconfigure(errors=...)``."""

_PLAIN = {
    "×": "x",
    "°": "deg",
    "−": "-",
    "–": "-",
    "—": "-",
    "²": "2",
    "³": "3",
    "≥": ">=",
    "≤": "<=",
    "±": "+-",
    "…": "~",
}


def _write_plainly(error: UnicodeError) -> tuple[str | bytes, int]:
    """Return a sign of ours in plain letters, a letter of a name by its number: no two names become one."""
    if not isinstance(error, UnicodeEncodeError):
        raise error
    end = error.start + 1
    if (sign := error.object[error.start : end]) in _PLAIN:
        return _PLAIN[sign], end
    alone = UnicodeEncodeError(error.encoding, error.object, error.start, end, error.reason)
    return codecs.backslashreplace_errors(alone)


codecs.register_error(PLAIN_SIGNS, _write_plainly)
