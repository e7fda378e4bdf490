"""The rows of features.csv, which the command and the page both tell of."""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd
    import xarray as xr

    from holdcast.capacity.fitting import Fit

__all__ = ["effects_of"]


def effects_of(fit: "Fit", setting: "xr.Dataset") -> "pd.DataFrame":
    """Return the rows of all effects: features net, pairs in total, measurements."""
    import pandas as pd

    from holdcast.answers.features.features import feature_effects, measurement_effects
    from holdcast.answers.features.pairs import paired_contrasts
    from holdcast.answers.features.setting_effects import paired_setting
    from holdcast.show.views.features.effects import effect_rows, pair_rows
    from holdcast.show.views.features.setting import with_setting

    rows = [effect_rows(measurement_effects(fit), "measurement")]
    contrasts = paired_contrasts(fit)
    if contrasts.sizes["pair"]:
        rows.insert(0, pair_rows(contrasts))
    if fit.inputs.sizes["feature"]:
        rows.insert(0, effect_rows(feature_effects(fit), "net"))
    return with_setting(pd.concat(rows, ignore_index=True), setting, paired_setting(fit))
