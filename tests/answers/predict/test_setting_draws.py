"""Chances of setting against the model's own: known cells exactly, new members in distribution."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from scipy.special import expit, logit

from holdcast.answers.cells.cells import cells
from holdcast.answers.draws.bands import BANDS
from holdcast.answers.draws.draws import draws_of
from holdcast.answers.draws.setting import KINDS, setting_of_new
from holdcast.answers.predict.predict import anchor_of_request, predict, seabed_of_request
from holdcast.answers.predict.requests import complete_requests
from holdcast.capacity.fitting import Fit
from holdcast.show.views.predict import prediction_table

NEW_CELLS = [("A-16", "mud"), ("D-09", "far mud"), ("E-20", "far stones"), ("A-10", "far stones")]


def of_model(worlds, kind: str, anchor: str, seabed: str) -> np.ndarray:
    """Draws on an unbounded scale, from PyMC's own draws of the whole world."""
    name = {"sets": "sets_log_odds", "resets": "resets_log_odds", "veer_kept": "turn"}[kind]
    draws = worlds.whole[name].sel(anchor=anchor, seabed=seabed).to_numpy().ravel()
    return np.log(draws) if kind == "veer_kept" else draws


def unbounded(share: np.ndarray, kind: str) -> np.ndarray:
    return np.log(-0.5 * np.log(share)) if kind == "veer_kept" else logit(share)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize(("anchor", "seabed"), NEW_CELLS)
def test_new_cells_are_distributed_as_the_model_says(worlds, kind, anchor, seabed) -> None:
    """Witness: the same cell in PyMC's own draws of the whole world, by two-sample Kolmogorov-Smirnov."""
    row = {"anchor": anchor, "seabed": seabed}
    for name, table in ((anchor, worlds.new_anchors), (seabed, worlds.new_seabeds)):
        if name in table.index:
            row |= {str(column): value for column, value in table.loc[name].items()}
    draws = draws_of(worlds.fit)
    one = complete_requests(draws, pd.DataFrame([row], index=["q"])).iloc[0]
    share = setting_of_new(draws, anchor_of_request(draws, one), seabed_of_request(draws, one))[kind]
    inside = (share > 0.0) & (share < 1.0)  # a share within rounding of an end has no logarithm
    assert inside.mean() > 0.97
    made, model = unbounded(share[inside], kind), of_model(worlds, kind, anchor, seabed)
    assert stats.ks_2samp(made, model, method="asymp").pvalue > 0.002


def test_cells_and_predict_give_the_same_chances(worlds) -> None:
    tree = worlds.fit.tree.copy()
    tree["prior"] = worlds.fit.posterior
    table = cells(Fit(tree, worlds.fit.verdict))
    rows = table["range"].to_series().reset_index()[["anchor", "seabed"]]
    asked = predict(worlds.fit, rows.set_axis([f"q{place}" for place in rows.index]))
    for kind in KINDS:
        np.testing.assert_allclose(asked[kind], table[kind].to_numpy().reshape(-1, len(BANDS)), rtol=1e-12)
    odds = worlds.fit.posterior["resets_log_odds"].sel(anchor="A-10", seabed="mud").to_numpy().ravel()
    place = rows.index[(rows["anchor"] == "A-10") & (rows["seabed"] == "mud")][0]
    np.testing.assert_allclose(asked["resets"][place], np.quantile(expit(odds), BANDS))


def test_columns_of_tests_that_the_log_lacks_stand_blank(worlds) -> None:
    answer = predict(worlds.fit, pd.DataFrame([{"anchor": "A-10", "seabed": "mud"}], index=["q"]))
    names = [f"{kind}_{q}" for kind in KINDS for q in ("q05", "q50", "q95")]
    whole, without = prediction_table(answer), prediction_table(answer.drop_vars(["resets", "veer_kept"]))
    assert list(whole) == list(without) and set(names) <= set(whole)
    assert whole[names].notna().all(axis=None) and without[names[:3]].notna().all(axis=None)
    assert without[names[3:]].isna().all(axis=None)
