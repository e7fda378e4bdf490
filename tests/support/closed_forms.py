"""Closed forms from textbooks, for checks only: nothing here is the program's."""

import numpy as np
from scipy.integrate import quad
from scipy.optimize import brentq


def touch_down_length(horizontal: float, weight: float, height: float) -> float:
    """Length that hangs when chain just touches down along the bottom: h √(1 + 2 T_H / (w h)), a catenary."""
    return height * np.sqrt(1.0 + 2.0 * horizontal / (weight * height))


def touch_down_distance(horizontal: float, weight: float, height: float) -> float:
    """Horizontal reach of that length: (T_H / w) asinh(w s / T_H), a catenary."""
    length = touch_down_length(horizontal, weight, height)
    return horizontal / weight * np.arcsinh(weight * length / horizontal)


def buried_chain(load_at_padeye: float, integral: float, friction: float) -> tuple[float, float]:
    """Angle at the padeye in rad and load at the mudline over that at the padeye, for small angles.

    Neubecker & Randolph 1995 (value from memory): T_a θ_a² / 2 = z Q, T_0 / T_a = exp(μ θ_a).
    """
    angle = np.sqrt(2.0 * integral / load_at_padeye)
    return angle, np.exp(friction * angle)


def buried_chain_exact(load_at_padeye: float, integral: float, friction: float) -> tuple[float, float]:
    """Angle and load ratio without the small-angle step, by quadrature of z Q = ∫ T_0 exp(-μ θ) sin θ dθ."""

    def excess(angle: float) -> float:
        at_mudline = load_at_padeye * np.exp(friction * angle)
        turned = quad(lambda turn: np.exp(-friction * turn) * np.sin(turn), 0.0, angle)[0]
        return at_mudline * turned - integral

    angle = brentq(excess, 0.0, np.pi, xtol=1e-13)
    return angle, np.exp(friction * angle)
