"""The class test against counting over draws scaled by hand, and its words without a stockless anchor."""

import numpy as np
import pytest

from holdcast.answers.classtest.classtest import class_test, stockless_designs
from holdcast.answers.classtest.requirements import class_requirements
from holdcast.answers.draws.draws import draws_of
from holdcast.answers.draws.seabeds import known_seabed
from holdcast.answers.sizes.one_shape import any_size_of_design, log_capacity_at
from holdcast.capacity import Fit
from holdcast.commands.classtest import classtest
from holdcast.show.views.classtest import lacking_sentences, missing_lines


def without_stockless(fit: Fit) -> Fit:
    tree = fit.tree.copy()
    anchors = tree["anchors"].to_dataset()
    forms = np.where(anchors["form"] == "stockless", "other", anchors["form"]).astype(str)
    tree["anchors"] = anchors.assign(form=("anchor", forms))
    return Fit(tree, fit.verdict)


def test_chances_are_counts_over_draws(world_fit) -> None:
    facts = draws_of(world_fit)
    answer = class_test(world_fit)
    place = facts.labels("seabed").index("clay")
    mine = facts["log_capacity"][:, facts.labels("anchor").index("A-10"), place]
    stockless = any_size_of_design(facts, "C")
    other = log_capacity_at(facts, stockless, known_seabed(facts, "clay"), np.array([10.0]))[0]
    odds = facts["sets_log_odds"][:, facts.labels("anchor").index("A-10"), place]
    sets = 1.0 / (1.0 + np.exp(-odds))
    for kind, ratio in (("hhp", 2.0), ("shhp", 4.0)):  # IACS UR A1.4 (read)
        found = float(answer["reaches"].sel(anchor="A-10", seabed="clay", kind=kind))
        assert found == pytest.approx((sets * (np.exp(mine - other) >= ratio)).mean(), abs=1e-12)
        assert found < (np.exp(mine - other) >= ratio).mean()
        # One seabed of the kind hard clay, so the bottom's chance is its chance.
        assert float(answer["reaches_bottom"].sel(anchor="A-10", bottom="hard_clay", kind=kind)) == found


def test_bottoms_by_soil_and_strength_and_all_at_once(world_fit) -> None:
    answer = class_test(world_fit)
    assert answer["bottom_of_seabed"].to_numpy().tolist() == ["soft", "soft", "hard_clay", "sand"]
    assert (answer["reaches_all"] <= answer["reaches_bottom"].min("bottom") + 1e-12).all()
    assert "C-14" not in answer["anchor"].to_numpy()
    assert (answer["reaches"].sel(kind="shhp") <= answer["reaches"].sel(kind="hhp")).all()


def test_a_bottom_counts_the_mean_chance_of_setting_and_the_mean_of_log_ratios(world_fit) -> None:
    """Witness: the two soft seabeds, and all three bottoms, from the tree by hand."""
    facts = draws_of(world_fit)
    anchor, stockless = facts.labels("anchor").index("B-12"), any_size_of_design(facts, "C")
    mass = np.array([12.0])

    def met(*seabeds: str) -> np.ndarray:
        places = [facts.labels("seabed").index(seabed) for seabed in seabeds]
        sets = (1.0 / (1.0 + np.exp(-facts["sets_log_odds"][:, anchor, places]))).mean(axis=1)
        others = [
            log_capacity_at(facts, stockless, known_seabed(facts, seabed), mass)[0] for seabed in seabeds
        ]
        ratio = facts["log_capacity"][:, anchor, places].T - np.array(others)
        return sets * (ratio.mean(axis=0) >= np.log(2.0))

    answer = class_test(world_fit).sel(anchor="B-12", kind="hhp")
    soft, clay, sand = met("mud", "silt"), met("clay"), met("sand")
    assert float(answer["reaches_bottom"].sel(bottom="soft")) == pytest.approx(soft.mean(), abs=1e-12)
    assert float(answer["reaches_all"]) == pytest.approx((soft * clay * sand).mean(), abs=1e-12)


def with_trials(fit: Fit, **columns: object) -> Fit:
    tree = fit.tree.copy()
    trials = tree["trials"].to_dataset()
    tree["trials"] = trials.assign({name: ("trial", values) for name, values in columns.items()})
    return Fit(tree, fit.verdict)


def test_missing_tests_are_counted_from_the_pulls_that_the_fit_used(world_fit) -> None:
    needs = class_requirements(world_fit)
    assert needs["design"].to_numpy().tolist() == ["A", "B"]  # C is the stockless
    assert needs["met"].sel(design="A", kind="hhp").to_numpy().tolist() == [False] * 3 + [True, False]
    assert not needs["met"].sel(design="B").any()
    one = needs.sel(kind="hhp", requirement=0)
    # twice over (mud and silt are soft), A-10-bare as heavy as A-10: 2 sizes, 2 pulls each.
    assert "2 sizes pulled, 0 with 3 pulls" in one["found"].sel(design="A").item()
    assert "no pulls" in needs["found"].sel(design="B", kind="hhp", requirement=1).item()

    trials = world_fit.tree["trials"].to_dataset()
    kept = (trials["seabed"] == "sand").to_numpy()
    status = np.where(kept, "excluded", "used").astype(str)
    length, depth = np.full(kept.size, 22.0), np.full(kept.size, 1.0)
    known_scope = with_trials(world_fit, status=status, rode_length_m=length, depth_m=depth)
    changed = class_requirements(known_scope).sel(design="A", kind="hhp")
    assert changed["found"].sel(requirement=1).item() == "no pulls"
    # 22 m over 1 m of depth and 1 m of bow.
    assert changed["found"].sel(requirement=4).item() == "least 11"
    assert changed["met"].sel(requirement=4).item()


def test_without_a_stockless_anchor_it_says_so(world_fit, open_fit, capsys) -> None:
    fit = without_stockless(world_fit)
    assert stockless_designs(world_fit) == ["C"]
    assert stockless_designs(fit) == []
    with pytest.raises(ValueError, match="the campaign has no stockless anchor"):
        class_test(fit)
    classtest(open_fit(fit))
    said = " ".join(capsys.readouterr().out.split())
    assert "The campaign has no stockless anchor" in said
    assert "Tests that the rule asks for and the campaign lacks, 2 times:" in said


def test_command_prints_bottoms_and_that_no_class_follows(
    results, world_fit, open_fit, capsys, read_json
) -> None:
    classtest(results, picture=True)
    said = " ".join(capsys.readouterr().out.split())
    assert "No class follows from this" in said and "hard clay" in said and "not a guarantee" in said
    assert (results / "figures" / "classtest.svg").is_file()
    opened = open_fit(world_fit)
    classtest(opened, units="us")
    assert " ".join(capsys.readouterr().out.split()) == said  # ratios and counts only
    classtest(opened, as_json=True)
    told = read_json()
    assert told["reference"] == "C"
    hard = [row for row in told["tests"] if row["design"] == "B" and "hard clay" in row["asked"]]
    assert [(row["kind"], row["met"]) for row in hard] == [("hhp", False), ("shhp", False)]


def test_missing_lines_name_designs_and_what_they_have(world_fit) -> None:
    needs = class_requirements(world_fit)
    said = "\n".join(missing_lines(needs))
    assert "no pulls" in said and "every one" in said
    enough = missing_lines(needs.assign(met=needs["met"] | True))
    (two, four, rest) = lacking_sentences(needs)
    assert two.endswith("2 times: no design has them all.") and "4 times" in four and rest.endswith("--all.")
    whole = lacking_sentences(needs.assign(met=needs["met"] | True))[0]
    assert whole.endswith("2 of 2 designs have them all: A, B.")
    assert enough[1] == "The campaign has every test that the rule asks for, 2 times."
