"""Mass of chain by its size."""

import numpy as np
import pytest

from holdcast.physics.errors import PhysicsError
from holdcast.physics.tackle.chain_mass import chain_mass_kg_per_m


def test_between_and_beyond_the_table_the_mass_goes_with_the_square_of_the_size():
    assert chain_mass_kg_per_m(9.0) == pytest.approx(81 * np.mean([1.40 / 64, 2.25 / 100]))  # computed
    assert chain_mass_kg_per_m(28.0) == pytest.approx(4 * 4.25)  # computed
    assert chain_mass_kg_per_m(3.0) == pytest.approx(0.80 / 4)  # computed
    with pytest.raises(PhysicsError, match="chain size"):
        chain_mass_kg_per_m(0.0)
