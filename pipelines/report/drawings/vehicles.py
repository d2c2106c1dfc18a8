"""Vehicles in plan, to scale: axles, wheels, contacts and loads."""

import numpy as np

from pipelines.numbers import as_given, length
from pipelines.report.document import Drawing
from pipelines.report.drawings.axes import Axes
from pipelines.report.drawings.canvas import SMALL, WIDTH, Paper, draw, room_of
from pipelines.report.drawings.colours import PALE, SOFT
from pipelines.standards.actions.loads import Vehicle
from plate.arrays import Floats

# Paper per metre [point] where the vehicle's length allows it.
SCALE = 40.0


def vehicle_drawing(vehicle: Vehicle, name: str) -> Drawing:
    """A vehicle from above, travelling to the right; its first axle is the foremost."""
    last = max(axle.at for axle in vehicle.axles)
    reach = max(abs(y) + 0.5 * axle.patch[1] for axle in vehicle.axles for y in axle.wheels)
    left, right = -last - 1.3, 1.6
    top, bottom = -reach - 1.15, reach + 0.95
    scale = min(SCALE, WIDTH / (right - left))
    words = f"{vehicle.name}; lengths in m"
    wide, high = scale * (right - left), scale * (bottom - top)
    size = (max(190.0, room_of(words, 8.0) + 10.0, wide), high)

    def paint(paper: Paper) -> None:
        start = 0.5 * (size[0] - wide)
        box = (start, 0.0, start + wide, high)
        axes = Axes(paper=paper, box=box, x=(left, right), y=(top, bottom))
        paper.text([4.0, 7.0], words, along="start", ink=SOFT)
        axes.path([[left + 0.8, 0], [right - 0.9, 0]], ink=PALE, dash=(8, 2, 1, 2))
        axes.arrow([right - 1.0, 0.0], [right - 0.3, 0.0])
        for axle in vehicle.axles:
            a, b = axle.patch
            x = -axle.at
            axes.path([[x, min(axle.wheels)], [x, max(axle.wheels)]], width=1.0)
            for y in axle.wheels:
                patch = np.array([[-a, -b], [a, -b], [a, b], [-a, b]]) / 2 + [x, y]
                axes.path(patch, closed=True, fill="#b9b3a6", width=0.8)
            load = f"{as_given(1e-3 * vehicle.impact * axle.load)} kN"
            axes.text([x, -reach], load, (0.0, -6.0), level="foot", size=SMALL)
        _spacings(axes, vehicle, reach + 0.35)
        _gauge(axes, vehicle, -last - 0.75)

    axles = ", ".join(f"{as_given(1e-3 * a.load)} kN at {length(a.at)} m" for a in vehicle.axles)
    return draw(name, f"{vehicle.name} in plan: axles {axles}.", size, paint)


def _spacings(axes: Axes, vehicle: Vehicle, y: float) -> None:
    at = np.array([axle.at for axle in vehicle.axles])
    if len(at) > 1:
        _chain(axes, np.column_stack([-at, np.full(len(at), y)]), np.diff(at), upright=False)


def _gauge(axes: Axes, vehicle: Vehicle, x: float) -> None:
    y = np.array(sorted(vehicle.axles[-1].wheels))
    if len(y) > 1:
        _chain(axes, np.column_stack([np.full(len(y), x), y]), np.diff(y), upright=True)


def _chain(axes: Axes, points: Floats, values: Floats, *, upright: bool) -> None:
    axes.path(points, width=0.5)
    axes.mark(points, "_" if upright else "|", 5.0, width=0.7)
    for middle, value in zip(0.5 * (points[1:] + points[:-1]), values.tolist(), strict=True):
        if upright:
            axes.text(middle, length(value), (-4.0, 0.0), size=7.0, along="end")
        else:
            axes.text(middle, length(value), (0.0, 4.0), size=7.0, level="top")
