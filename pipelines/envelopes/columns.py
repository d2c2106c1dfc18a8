"""Fields of a run by name: the columns of its table of result points."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from pipelines.envelopes.arrangements import ModelEnvelope
from pipelines.envelopes.single_vehicles import Envelopes
from pipelines.model.responses import Response
from pipelines.units import RESULT_KEYS, RESULT_SCALE

Floats = NDArray[np.float64]

UNITS = ("", *["_kNm_m"] * 3, *["_kN_m"] * 2)


def field_columns(
    cases: dict[str, Response],
    envelopes: Envelopes | None,
    models: Sequence[ModelEnvelope] = (),
) -> dict[str, Floats]:
    """Every field by its name (n_point,); w in mm, moments in kNm/m, shears in kN/m.

    For an envelope of single vehicles `<component>_max` also the number of the governing position
    and, as `<component>_max_with_<other>`, what coexists with it. Those of load models begin with
    the model's name.
    """
    data: dict[str, Floats] = {}
    for name, response in cases.items():
        for k, key in enumerate(RESULT_KEYS):
            data[f"{name} {key}{UNITS[k]}"] = response.fields[k, :, 0] * RESULT_SCALE[k]
    if envelopes is not None:
        fields = envelopes.fields
        for label, values, at, coexisting in (
            ("max", fields.extremes.maximum, fields.extremes.at_maximum, fields.with_maximum),
            ("min", fields.extremes.minimum, fields.extremes.at_minimum, fields.with_minimum),
        ):
            for k, key in enumerate(RESULT_KEYS):
                data[f"{key}_{label}{UNITS[k]}"] = values[k] * RESULT_SCALE[k]
                data[f"{key}_{label}_position"] = at[k].astype(float)
                for j, other in enumerate(RESULT_KEYS[1:], start=1):
                    if j != k:
                        name = f"{key}_{label}_with_{other}{UNITS[j]}"
                        data[name] = coexisting[k, j] * RESULT_SCALE[j]
    for model in models:
        extremes = model.fields.extremes
        for label, values in (("max", extremes.maximum), ("min", extremes.minimum)):
            for k, key in enumerate(RESULT_KEYS):
                name = f"{model.model.name} {key}_{label}{UNITS[k]}"
                data[name] = values[k] * RESULT_SCALE[k]
    return data
