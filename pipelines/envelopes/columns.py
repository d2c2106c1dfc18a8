"""Fields of a run by name: the columns of its table of result points."""

from collections.abc import Mapping, Sequence

from pipelines.envelopes.envelope import TrafficEnvelope
from pipelines.model.responses import Response
from pipelines.units import RESULT_KEYS, RESULT_SCALE
from plate.arrays import Floats

UNITS = ("", *["_kNm_m"] * 3, *["_kN_m"] * 2)


def field_columns(
    cases: Mapping[str, Response], traffic: Sequence[TrafficEnvelope]
) -> dict[str, Floats]:
    """Every field by its name (n_point,); w in mm, moments in kNm/m, shears in kN/m.

    For an envelope `<component>_max` also the number of the governing load position, and, as
    `<component>_max_with_<other>`, what coexists with it. Those of load models begin with the
    model's name, those of vehicles that drive alone do not.
    """
    data: dict[str, Floats] = {}
    for name, response in cases.items():
        for k, key in enumerate(RESULT_KEYS):
            data[f"{name} {key}{UNITS[k]}"] = response.fields[k, :, 0] * RESULT_SCALE[k]
    for envelope in traffic:
        fields = envelope.fields
        lead = f"{envelope.name} " if envelope.whole else ""
        for label, values, at, coexisting in (
            ("max", fields.extremes.maximum, fields.extremes.at_maximum, fields.with_maximum),
            ("min", fields.extremes.minimum, fields.extremes.at_minimum, fields.with_minimum),
        ):
            for k, key in enumerate(RESULT_KEYS):
                name = f"{lead}{key}_{label}"
                data[f"{name}{UNITS[k]}"] = values[k] * RESULT_SCALE[k]
                data[f"{name}_position"] = at[k].astype(float)
                for j, other in enumerate(RESULT_KEYS[1:], start=1):
                    if j != k:
                        data[f"{name}_with_{other}{UNITS[j]}"] = coexisting[k, j] * RESULT_SCALE[j]
    return data
