"""Vehicles in plan, to scale: axles, wheels, contacts and loads."""

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from pipelines.numbers import as_given, length
from pipelines.report.document import Drawing
from pipelines.report.drawings.canvas import INK, PALE, WIDTH, draw
from pipelines.standards.actions.loads import Vehicle

# Paper per metre [inch] where the vehicle's length allows it.
SCALE = 0.55


def vehicle_drawing(vehicle: Vehicle, name: str) -> Drawing:
    """A vehicle from above, travelling to the right; its first axle is the foremost."""
    last = max(axle.at for axle in vehicle.axles)
    reach = max(abs(y) + 0.5 * axle.patch[1] for axle in vehicle.axles for y in axle.wheels)
    left, right = -last - 1.3, 1.6
    top, bottom = -reach - 1.15, reach + 0.95
    scale = min(SCALE, WIDTH / (right - left))
    words = f"{vehicle.name}; lengths in m"
    size = (max(2.6, 0.075 * len(words), scale * (right - left)), scale * (bottom - top))

    def paint(figure: Figure) -> None:
        share = scale * (right - left) / size[0]
        axes = figure.add_axes((0.5 - 0.5 * share, 0.0, share, 1.0))
        axes.set_xlim(left, right)
        axes.set_ylim(bottom, top)
        axes.set_axis_off()
        figure.text(0.06 / size[0], 1.0 - 0.1 / size[1], words, va="center", color="#444444")
        axes.plot([left + 0.8, right - 0.9], [0, 0], color=PALE, lw=0.6, ls=(0, (8, 2, 1, 2)))
        axes.annotate(
            "",
            xy=(right - 0.3, 0.0),
            xytext=(right - 1.0, 0.0),
            arrowprops={"arrowstyle": "-|>", "color": INK, "lw": 1.0},
        )
        for axle in vehicle.axles:
            a, b = axle.patch
            low, high = min(axle.wheels), max(axle.wheels)
            axes.plot([-axle.at] * 2, [low, high], color=INK, lw=1.0, zorder=1)
            for y in axle.wheels:
                corner = (-axle.at - 0.5 * a, y - 0.5 * b)
                axes.add_patch(Rectangle(corner, a, b, fc="#b9b3a6", ec=INK, lw=0.8, zorder=2))
            load = f"{as_given(1e-3 * vehicle.impact * axle.load)} kN"
            axes.text(-axle.at, -reach - 0.15, load, ha="center", va="bottom", fontsize=7.5)
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


def _chain(axes: Axes, points: np.ndarray, values: np.ndarray, *, upright: bool) -> None:
    axes.plot(*points.T, color=INK, lw=0.5, marker="_" if upright else "|", ms=5, mew=0.7)
    for middle, value in zip(0.5 * (points[1:] + points[:-1]), values, strict=True):
        shift = (-3, 0) if upright else (0, -3)
        axes.annotate(
            length(float(value)),
            middle,
            xytext=shift,
            textcoords="offset points",
            ha="right" if upright else "center",
            va="center" if upright else "top",
            fontsize=7,
        )
