"""The sampler's names that are not part of its public face, as `capacity/sampler/compiling.py` uses them.

pyproject.toml keeps the sampler below its next minor release for their sake.  When this fails after an
update, look at `nutpie/compile_pymc.py` of the new release, mend `_sampler_model`, then raise the cap.
"""

import inspect
import tomllib
from dataclasses import fields
from importlib.metadata import version
from pathlib import Path

from nutpie.compile_pymc import CompiledPyMCModel, make_user_data
from packaging.requirements import Requirement

ROOT = Path(__file__).resolve().parents[2]


def sampler_requirement() -> Requirement:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    return next(r for r in map(Requirement, project["dependencies"]) if r.name == "nutpie")


def test_sampler_stays_below_the_next_minor_release() -> None:
    """Checked with the locked release, which is the newest one that was tried."""
    locked = tomllib.loads((ROOT / "uv.lock").read_text(encoding="utf-8"))["package"]
    newest = next(package["version"] for package in locked if package["name"] == "nutpie")
    major, minor, *_ = newest.split(".")
    allowed = sampler_requirement().specifier
    assert allowed.contains(newest) and allowed.contains(version("nutpie"))
    assert not allowed.contains(f"{major}.{int(minor) + 1}.0")


def test_private_names_are_as_they_are_used() -> None:
    assert {field.name for field in fields(CompiledPyMCModel)} == {
        "compiled_logp_func", "compiled_expand_func", "initial_point_func", "shared_data", "shared_var_keys",
        "user_data", "n_expanded", "shape_info", "logp_func", "expand_func", "dims", "reparameterized_names",
        "_n_dim", "_shapes", "_coords", "_transform_adapt_args",
    }  # fmt: skip
    assert list(inspect.signature(make_user_data).parameters) == ["shared_var_keys", "shared_data"]
