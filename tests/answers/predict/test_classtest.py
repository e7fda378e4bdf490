"""The class test against counting over draws scaled by hand, and its words without a stockless anchor."""

import numpy as np
import pytest

from holdcast.answers.classtest import class_test, stockless_designs
from holdcast.answers.predict_known import known
from holdcast.answers.predict_seabeds import known_seabed
from holdcast.answers.sizes_law import any_size_of_design, log_capacity_at
from holdcast.capacity import Fit, save
from holdcast.commands.classtest import classtest


def without_stockless(fit: Fit) -> Fit:
    tree = fit.tree.copy()
    anchors = tree["anchors"].to_dataset()
    forms = np.where(anchors["form"] == "stockless", "other", anchors["form"]).astype(str)
    tree["anchors"] = anchors.assign(form=("anchor", forms))
    return Fit(tree, fit.verdict)


def test_chances_are_counts_over_draws(world_fit) -> None:
    facts = known(world_fit)
    answer = class_test(world_fit)
    place = facts.labels["seabed"].index("clay")
    mine = facts.draws["log_capacity"][:, facts.labels["anchor"].index("A-10"), place]
    stockless = any_size_of_design(facts, "C")
    other = log_capacity_at(facts, stockless, known_seabed(facts, "clay"), np.array([10.0]))[0]
    for kind, ratio in (("hhp", 2.0), ("shhp", 4.0)):  # IACS UR A1.4 (read)
        found = float(answer["reaches"].sel(anchor="A-10", seabed="clay", kind=kind))
        assert found == pytest.approx((np.exp(mine - other) >= ratio).mean(), abs=1e-12)
        # One seabed of the kind hard clay, so the bottom's chance is its chance.
        assert float(answer["reaches_bottom"].sel(anchor="A-10", bottom="hard_clay", kind=kind)) == found


def test_bottoms_by_soil_and_strength_and_all_at_once(world_fit) -> None:
    answer = class_test(world_fit)
    assert answer["bottom_of_seabed"].to_numpy().tolist() == ["soft", "soft", "hard_clay", "sand"]
    assert (answer["reaches_all"] <= answer["reaches_bottom"].min("bottom") + 1e-12).all()
    assert "C-14" not in answer["anchor"].to_numpy()
    assert (answer["reaches"].sel(kind="shhp") <= answer["reaches"].sel(kind="hhp")).all()


def test_without_a_stockless_anchor_it_says_so(world_fit, tmp_path, capsys) -> None:
    fit = without_stockless(world_fit)
    assert stockless_designs(world_fit) == ["C"]
    assert stockless_designs(fit) == []
    with pytest.raises(ValueError, match="the campaign has no stockless anchor"):
        class_test(fit)
    folder = tmp_path / "none"
    folder.mkdir()
    save(fit, folder)
    classtest(folder)
    assert "The campaign has no stockless anchor" in capsys.readouterr().out


def test_command_prints_bottoms_and_that_no_class_follows(results, capsys, read_json) -> None:
    classtest(results)
    said = " ".join(capsys.readouterr().out.split())
    assert "No class follows from this" in said and "hard clay" in said and "not a guarantee" in said
    assert (results / "figures" / "classtest.svg").is_file()
    classtest(results, as_json=True)
    assert read_json()["reference"] == "C"
