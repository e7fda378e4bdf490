"""campaign.toml."""

import pytest

SETTINGS = """
title = "Spring tests"
author = "A tester"
licence = "CC-BY-4.0"
units = "us"
[boat]
bow_height_ft = 4
[thresholds]
efficiency = 10
[weights]
mud = 2
beach = 0.5
[weights.kinds]
pull = 1
veer = 0.5
[priors.size_exponent]
median = 0.9
"""


def test_everything_given(read):
    campaign = read(settings=SETTINGS)
    assert (campaign.title, campaign.author, campaign.licence) == ("Spring tests", "A tester", "CC-BY-4.0")
    assert campaign.units == "us"
    assert campaign.boat == {"bow_height_m": pytest.approx(1.2192)}
    assert campaign.thresholds == {"efficiency": 10.0}
    assert campaign.weights == {"mud": 2.0, "beach": 0.5}
    assert campaign.kind_weights == {"pull": 1.0, "veer": 0.5}
    assert campaign.priors == {"size_exponent": {"median": 0.9}}


@pytest.mark.parametrize(
    ("text", "column", "said"),
    [
        ("titel = 'x'", "", "Did you mean title?"),
        ("title = 3", "title", "Put it in quotation marks"),
        ('title = "a\\u0007b"', "title", "Remove U+0007"),
        ('units = "metric"', "units", '"si" or "us"'),
        ("boat = 1.2", "boat", "a table that begins with [boat]"),
        ("[boat]\nbow_hight_m = 1", "boat", "Did you mean bow_height_m?"),
        ("[boat]\nbow_height_m = 1\nbow_height_ft = 3", "boat", "one quantity in two units"),
        ('[boat]\nbow_height_m = "1.2"', "boat.bow_height_m", "without quotation marks"),
        ("[boat]\nbow_height_m = 1200", "boat.bow_height_m", "Check the unit"),
        ("[thresholds]\nefficency = 3", "thresholds", "Did you mean efficiency?"),
        ("[thresholds]\nefficiency = 0", "thresholds.efficiency", "above 0"),
        ("[thresholds]\nefficiency = nan", "thresholds.efficiency", "above 0"),
        ("[thresholds]\nefficiency = true", "thresholds.efficiency", "above 0"),
        ("[weights]\nmudd = 1", "weights", "Did you mean mud?"),
        ("[weights]\nmud = -1", "weights.mud", "0 or more"),
        ("[weights]\nmud = 0", "weights", "no weight above zero"),
        ("[weights]\nmud = 1\n[weights.kinds]\nresets = 1", "weights.kinds", "Did you mean reset?"),
        ("[weights]\nmud = 1\n[weights.kinds]\nreset = -1", "weights.kinds.reset", "0 or more"),
        ("[weights]\nmud = 1\n[weights.kinds]\npull = 0", "weights.kinds", "no weight above zero"),
        ("[weights.kinds]\nreset = 1", "weights.kinds", "Give seabeds weights too"),
        ("[weights]\nkinds = 1", "weights", "the unknown seabed 'kinds'"),
        ("[priors]\nscatter = 3", "priors.scatter", "Write [priors.scatter]"),
        ("title = Spring", "", "a file that is not TOML"),
        ("[boat]\n[boat]", "", "a file that is not TOML"),
        (b'title = "\xff"', "", "not UTF-8"),
    ],
)
def test_faults(findings, text, column, said):
    (fault,) = findings(settings=text)
    assert (fault.severity, fault.file, fault.column) == ("fault", "campaign.toml", column)
    assert said in f"{fault.found}|{fault.allowed}|{fault.fix}"


def test_enormous_integer(findings):
    (fault,) = findings(settings=f"[thresholds]\nefficiency = 1{'0' * 400}")
    assert fault.column == "thresholds.efficiency"
