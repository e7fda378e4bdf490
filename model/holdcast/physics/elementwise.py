"""One spelling of exp, log, square root and the like for numpy, xarray and PyTensor.

PyTensor is imported only when a PyTensor variable is handed in, so physics runs where it is not installed.
"""

from importlib import import_module
from types import ModuleType
from typing import Any

import numpy as np

__all__ = ["Values", "equal", "exp", "log", "log1p", "maximum", "sin", "softplus", "sqrt", "where"]

Values = Any
"""A number, numpy array, xarray DataArray or PyTensor variable; a function returns the kind it was given."""


def _library(*values: Values) -> ModuleType:
    """Return the module whose functions fit the most demanding of `values`."""
    modules = [kind.__module__ for value in values for kind in type(value).__mro__]
    if any(module.startswith("pytensor.xtensor") for module in modules):
        return import_module("pytensor.xtensor.math")
    if any(module.startswith("pytensor.") for module in modules):
        return import_module("pytensor.tensor")
    return np


def exp(x: Values) -> Values:
    """Return e to the power `x`, element by element."""
    return _library(x).exp(x)


def log(x: Values) -> Values:
    """Return the natural logarithm of `x`, element by element."""
    return _library(x).log(x)


def log1p(x: Values) -> Values:
    """Return log(1 + `x`), exact for small `x`, element by element."""
    return _library(x).log1p(x)


def sqrt(x: Values) -> Values:
    """Return the square root of `x`, element by element."""
    return _library(x).sqrt(x)


def sin(x: Values) -> Values:
    """Return the sine of `x` (rad), element by element."""
    return _library(x).sin(x)


def maximum(x: Values, y: Values) -> Values:
    """Return the larger of `x` and `y`, element by element."""
    return _library(x, y).maximum(x, y)


def equal(x: Values, y: Values) -> Values:
    """Return whether `x` equals `y`, element by element."""
    library = _library(x, y)
    return (library.equal if library is np else library.eq)(x, y)


def where(condition: Values, x: Values, y: Values) -> Values:
    """Return `x` where the condition holds and `y` elsewhere, element by element."""
    return _library(condition, x, y).where(condition, x, y)


def softplus(x: Values) -> Values:
    """Return log(1 + e^x) without overflow for large `x` or loss of digits for very negative `x`.

    Written out from plain functions because a library's own form may be evaluated one number at a time; its
    slope is the logistic curve everywhere, at 0 too.
    """
    size = abs(x)
    return 0.5 * (x + size) + log1p(exp(-size))
