"""Evaluating a graph without compiling it."""

from typing import Final

from pytensor.compile.mode import Mode

__all__ = ["AS_IT_STANDS"]

AS_IT_STANDS: Final = Mode(linker="py", optimizer=None)
"""Evaluates a graph operation by operation, for what is needed once: compiling it would take longer."""
