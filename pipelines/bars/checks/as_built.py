"""As-built check: every panel with readings, its bars as measured against the demand there."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from pipelines.bars.checks.as_built_panel import AsBuilt, as_built, largest_deviation, measured_keys
from pipelines.bars.checks.bending_and_service import moment_resistance, resistances
from pipelines.deck.panels import panel_names, panel_of
from pipelines.deck.reinforcement import Survey
from pipelines.deck.survey import Key
from pipelines.numbers import within
from pipelines.standards.materials import Materials
from pipelines.standards.resistance.bars import FACES, LAYERS, Layer, SlabBars, place_of
from plate.arrays import Floats
from plate.geometry.plan import Plan

# How far a quantity is let deviate at most: its own share of what is drawn.
MOST_SHARE = 0.5
NEAR = 1e-6  # m


@dataclass(frozen=True, kw_only=True)
class PanelCheck:
    """One panel as built.

    drawing, utilisation : per layer, with the bars as drawn and as built. deviations : largest
    further adverse deviation of each measured quantity that still passes [m], negative by how much
    it would have to be better. why : what differs from the drawing, in words.
    """

    panel: str
    as_built: AsBuilt
    drawing: Mapping[Layer, float]
    utilisation: Mapping[Layer, float]
    deviations: Mapping[Key, float]
    why: tuple[str, ...]

    @property
    def worst(self) -> Layer:
        return max(LAYERS, key=lambda layer: self.utilisation[layer])

    @property
    def passes(self) -> bool:
        return within(self.utilisation[self.worst])


def panel_demands(plan: Plan, points: Floats, values: Mapping[Layer, Floats]) -> Floats:
    """Largest demand (n_panel, 4) in each panel, lines at its ends included; layers as LAYERS."""
    found = np.zeros((len(panel_names(plan)), len(LAYERS)))
    for dx in (-NEAR, NEAR):
        for dy in (-NEAR, NEAR):
            index = panel_of(plan, points + np.array([dx, dy]))
            for k, layer in enumerate(LAYERS):
                np.maximum.at(found[:, k], index, values[layer])
    return found


def panel_checks(
    plan: Plan,
    survey: Survey,
    drawing: SlabBars,
    mat: Materials,
    points: Floats,
    demand: Mapping[Layer, Floats],
) -> tuple[PanelCheck, ...]:
    """Checks of the panels with readings, in the deck's order.

    points : (n, 2) in plan [m]; demand : layer -> (n,) ultimate design moments [N m/m].
    """
    demands = panel_demands(plan, points, demand)
    checks = []
    for name, row in zip(panel_names(plan), demands, strict=True):
        if name not in survey.readings:
            continue
        readings = survey.readings[name]
        built = as_built(drawing, readings, survey.value)
        needs = dict(zip(LAYERS, row.tolist(), strict=True))
        keys = [key for key in measured_keys() if _was_read(key, built)]
        checks.append(
            PanelCheck(
                panel=name,
                as_built=built,
                drawing=_utilisations(drawing, mat, needs),
                utilisation=_utilisations(built.bars, mat, needs),
                deviations={key: _deviation(built.bars, key, mat, needs) for key in keys},
                why=_differences(drawing, built.bars),
            )
        )
    return tuple(checks)


def _was_read(key: Key, built: AsBuilt) -> bool:
    if key.quantity == "cover":
        return any(k.quantity == "cover" and k.face == key.face for k in built.statistics)
    return key in built.statistics


def _utilisations(
    bars: SlabBars, mat: Materials, demand: Mapping[Layer, float]
) -> dict[Layer, float]:
    m_Rd = resistances(bars, mat)
    return {layer: demand[layer] / m_Rd[layer] for layer in LAYERS}


def _deviation(bars: SlabBars, key: Key, mat: Materials, demand: Mapping[Layer, float]) -> float:
    """Only layers that the quantity is of count: its own, those of its face for the cover, all
    for the thickness."""
    layers = [layer for layer in LAYERS if key.face in (None, layer[0])]
    if key.direction is not None:
        layers = [layer for layer in layers if layer[1] == key.direction]
    drawn = {
        "thickness": bars.thickness,
        "cover": bars.thickness,
        "diameter": 0.0,
        "spacing": 0.0,
    }[key.quantity]
    if key.face is not None and key.direction is not None:
        layer_bars = bars.bars((key.face, key.direction))
        drawn = layer_bars.diameter if key.quantity == "diameter" else layer_bars.spacing

    def worst(changed: SlabBars) -> float:
        h = changed.thickness
        return max(
            demand[layer]
            / moment_resistance(mat, h, changed.effective_depth(layer), changed.bars(layer).area)
            for layer in layers
        )

    return largest_deviation(bars, key, worst, MOST_SHARE * drawn, 1e-4)


def _differences(drawing: SlabBars, built: SlabBars) -> tuple[str, ...]:
    """What differs from the drawing by more than 3 % (of lengths), in words."""
    words = []

    def tell(what: str, now: float, drawn: float) -> None:
        if abs(now - drawn) > 0.03 * drawn:
            words.append(f"{what} {1e3 * now:.0f} mm, drawn {1e3 * drawn:.0f}")

    tell("thickness", built.thickness, drawing.thickness)
    for face in FACES:
        now, drawn = built.mat(face), drawing.mat(face)
        if now.outer != drawn.outer:
            words.append(f"{face}: layers swapped, bars along {now.outer} outermost")
        else:
            tell(f"{face}, cover", now.cover, drawn.cover)
    for layer in LAYERS:
        now_bars, drawn_bars = built.bars(layer), drawing.bars(layer)
        tell(f"{place_of(layer)}: spacing", now_bars.spacing, drawn_bars.spacing)
        tell(f"{place_of(layer)}: diameter", now_bars.diameter, drawn_bars.diameter)
    return tuple(words)
