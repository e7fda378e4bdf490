"""Mass of chain by its size."""

import numpy as np
import pytest

from holdcast.physics.errors import PhysicsError
from holdcast.physics.tackle.chain_mass import chain_mass_kg_per_m

# A chain supplier's table (DIN 766 and ISO 4565), read; typed here once more.
ROWS = {6: 0.80, 7: 1.15, 8: 1.40, 10: 2.25, 12: 3.25, 13: 3.90, 14: 4.25}


@pytest.mark.parametrize(("size", "mass"), ROWS.items())
def test_sizes_of_the_table_come_back(size, mass):
    assert chain_mass_kg_per_m(size) == pytest.approx(mass)


def test_between_and_beyond_the_table_the_mass_goes_with_the_square_of_the_size():
    assert chain_mass_kg_per_m(9.0) == pytest.approx(81 * np.mean([1.40 / 64, 2.25 / 100]))  # computed
    assert chain_mass_kg_per_m(28.0) == pytest.approx(4 * 4.25)  # computed
    assert chain_mass_kg_per_m(3.0) == pytest.approx(0.80 / 4)  # computed
    with pytest.raises(PhysicsError, match="chain size"):
        chain_mass_kg_per_m(0.0)
