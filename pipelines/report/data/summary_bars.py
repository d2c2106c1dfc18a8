"""Entries of summary.json on bars and shear, in its units."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from pipelines.bars.adequacy import Found, Judgement, PanelVerdict, StandardVerdict
from pipelines.bars.checks.as_built import Deviation, PanelCheck
from pipelines.bars.checks.part import LayerCheck, PartChecks
from pipelines.bars.design import Design, StandardDesign
from pipelines.standards.detailing.rules import Row
from pipelines.standards.resistance.bars import FACES, LAYERS, Layer, Mat
from pipelines.traffic.arrangements import Arrangement, arrangement_entry

Json = Any
SCALES = {
    "m": (1e3, "mm"),
    "m2/m": (1e6, "mm2/m"),
    "m2": (1e6, "mm2"),
    "N m/m": (1e-3, "kNm/m"),
    "N m": (1e-3, "kNm"),
    "N": (1e-3, "kN"),
    "Pa": (1e-6, "MPa"),
}


def design_entry(design: Design, verdicts: Sequence[StandardVerdict]) -> dict[str, Json]:
    """ "design": the findings and the results by standard."""
    return {
        "not_combined": list(design.left_out),
        "standards": {
            verdict.standard: {**_verdict(verdict), **_standard(standard, verdict.panels)}
            for standard, verdict in zip(design.standards, verdicts, strict=True)
        },
    }


def _verdict(verdict: StandardVerdict) -> dict[str, Json]:
    return {
        "finding": verdict.adequacy.value,
        "largest_utilisation": verdict.largest,
        "checks": [_judgement(j) for j in verdict.judgements],
    }


def _judgement(judgement: Judgement) -> dict[str, Json]:
    return {
        "check": judgement.check.value,
        "layer": None if judgement.layer is None else _key(judgement.layer),
        "finding": judgement.adequacy.value,
        **_found(judgement.worst),
        "left_out": judgement.left_out,
        "not_judged": judgement.reason,
        "found": [_found(found) for found in judgement.found],
    }


def _found(largest: Found | None) -> dict[str, Json]:
    """A value and where it is from; each null where nothing has looked."""
    return {
        "utilisation": None if largest is None else largest.utilisation,
        "place": None if largest is None else largest.place,
        "found_by": None if largest is None else largest.by,
        "source": None if largest is None else str(largest.source),
    }


def _standard(design: StandardDesign, panels: Sequence[PanelVerdict]) -> dict[str, Json]:
    return {
        "traffic": design.traffic,
        "concrete": design.basis.materials.concrete.name,
        "steel": design.basis.materials.steel.name,
        **_part(design),
        "shear_not_asked": None if design.shear_not_asked is None else str(design.shear_not_asked),
        "shear_near_supports": None
        if design.reduced is None
        else {
            "width_m": design.reduced.width,
            "utilisation": design.reduced.utilisation,
            "utilisation_unreduced": design.reduced.whole,
            "v_Ed_kN_m": design.reduced.v * 1e-3,
            "v_Rd_kN_m": design.reduced.v_Rd * 1e-3,
            "least_share": design.reduced.share,
            "struts": design.reduced.strut,
            "line": design.reduced.line,
            "side": "before" if design.reduced.side < 0 else "after",
            "at_m": list(design.reduced.at),
            **_position(design.reduced.position),
        },
        "remedies": [
            {
                "remedy": remedy.name,
                "present": _amount(remedy.name, remedy.present),
                "needed": _amount(remedy.name, remedy.needed),
                "utilisation": remedy.utilisation,
            }
            for remedy in design.remedies
        ],
        "outermost": dict(design.outermost),
        "layer_order": {
            face: {
                cost.direction: {
                    "d_mm": cost.d * 1e3,
                    "d_other_order_mm": cost.d_swapped * 1e3,
                    "m_Rd_kNm_m": cost.m_Rd * 1e-3,
                    "m_Rd_other_order_kNm_m": cost.m_Rd_swapped * 1e-3,
                }
                for cost in design.order[face]
            }
            for face in FACES
        },
        "bar_choice": {face: _mat(mat) for face, mat in design.choice.items()},
        "added": {
            part.name: {
                "bars": {_key(layer): str(part.bars.bars(layer)) for layer in LAYERS},
                **_part(part),
            }
            for part in design.added
        },
        "panels": {
            check.panel: _panel(check, verdict)
            for check, verdict in zip(design.panels, panels, strict=True)
        },
    }


def _part(design: PartChecks) -> dict[str, Json]:
    """Bending, rules, shear and punching of a part as drawn."""
    found: dict[str, Json] = {
        "layers": {_key(check.layer): _layer(check) for check in design.layers},
        "rules": [_row(row) for row in design.rows],
        "shear": [
            {
                "width_m": peak.width,
                "judged": peak.width == design.design_width,
                "v_Ed_kN_m": peak.v * 1e-3,
                "v_Rd_kN_m": peak.v_Rd * 1e-3,
                "utilisation": peak.utilisation,
                "line": peak.line,
                "side": "before" if peak.side < 0 else "after",
                "at_m": list(peak.at),
                **_position(peak.position),
            }
            for peak in design.shear
        ],
    }
    if design.punching is not None:
        p = design.punching
        found["punching"] = {
            "utilisation": p.utilisation,
            "utilisation_interior": p.interior,
            "load_kN": p.load * 1e-3,
            "v_Ed_MPa": p.v_Ed * 1e-6,
            "v_Rd_MPa": p.v_Rd * 1e-6,
            "u_m": p.u,
            "perimeter": p.shape,
            "at_m": list(p.at),
            "wheel_places": p.n,
            "wheels_together": p.wheels,
            **_position(Arrangement.of(p.position)),
        }
    return found


def _key(layer: Layer) -> str:
    return f"{layer[0]}_{layer[1]}"


def _position(at: Arrangement | None) -> dict[str, Json]:
    name = at.model if at is not None and at.whole else None
    return {"load_model": name, **arrangement_entry(at)}


def _layer(check: LayerCheck) -> dict[str, Json]:
    return {
        "m_Ed_kNm_m": check.m_Ed * 1e-3,
        "m_Ed_centre_line_kNm_m": check.m_centre * 1e-3,
        "m_Ed_face_kNm_m": check.m_face * 1e-3,
        "m_Ed_full_rule_kNm_m": check.least * 1e-3,
        "m_Rd_kNm_m": check.m_Rd * 1e-3,
        "utilisation": check.utilisation,
        "required_mm2_m": check.required * 1e6,
        "gain_percent": None if check.gain is None else 100 * check.gain,
        "at_m": list(check.at),
        "factors": dict(check.state),
        **_position(check.position),
    }


def _row(row: Row) -> dict[str, Json]:
    scale, unit = SCALES.get(row.unit, (1.0, row.unit))
    return {
        "check": row.check,
        "place": row.place,
        "required": scale * row.required,
        "provided": scale * row.provided,
        "sense": row.sense,
        "unit": unit,
        "utilisation": row.utilisation,
        "passes": row.passes,
        "source": str(row.source),
    }


def _amount(name: str, value: float | str | None) -> Json:
    """Thickness in mm, steel in mm2/m, a grade by its name."""
    if value is None or isinstance(value, str):
        return value
    return value * (1e3 if name == "thickness" else 1e6)


def _mat(mat: Mat | None) -> Json:
    return None if mat is None else {"x": str(mat.x), "y": str(mat.y), "outer": mat.outer}


def _panel(check: PanelCheck, verdict: PanelVerdict) -> dict[str, Json]:
    built = check.as_built
    return {
        "finding": verdict.adequacy.value,
        "largest_utilisation": verdict.largest,
        "stations_m": list(check.extent[0]),
        "offsets_m": list(check.extent[1]),
        "dates": list(built.readings.dates),
        "checks": [
            {
                "check": judged.check.value,
                "layer": None if judged.layer is None else _key(judged.layer),
                "finding": judged.adequacy.value,
                "asked": judged.asked,
                **_found(judged.worst),
                "not_judged": judged.reason,
            }
            for judged in verdict.judgements
        ],
        "bending_as_drawn": {_key(layer): u for layer, u in check.drawing.items()},
        "cover_below_durability": list(check.durability),
        "differs": list(check.why),
        "from_drawing": list(built.from_drawing),
        "concrete": check.basis.materials.concrete.name,
        "least_cover_mm": {face: cover * 1e3 for face, cover in built.least_cover.items()},
        "bars": {
            _key(layer): {
                "diameter_mm": check.bars.bars(layer).diameter * 1e3,
                "spacing_mm": check.bars.bars(layer).spacing * 1e3,
                "area_loss_percent": check.bars.bars(layer).loss * 1e2,
                "d_mm": check.bars.effective_depth(layer) * 1e3,
                "counts": layer not in built.bare,
            }
            for layer in LAYERS
        },
        "thickness_mm": check.bars.thickness * 1e3,
        "largest_deviations": [_deviation(deviation) for deviation in check.deviations],
    }


def _deviation(deviation: Deviation) -> dict[str, Json]:
    """null: nothing passes."""
    measure = deviation.key.measure
    return {
        "of": str(deviation.key),
        "way": "more" if deviation.more else "less",
        "value": deviation.value / measure.unit if np.isfinite(deviation.value) else None,
        "unit": measure.unit_words,
        "fails_first": None if deviation.stops is None else deviation.stops.value,
    }
