"""A tiny study for tests, written in the study file's own language."""

import math
from concurrent.futures import Executor, Future
from pathlib import Path
from typing import Any

import numpy as np

from pipelines.study.table import Column

DECK = """
title = "tiny"
[slab]
thickness_mm = 250
E_GPa = 30.0
[plan]
stations_m = [0.0, 3.0, 6.0]
offsets_m = [-2.0, 2.0]
[[line]]
on = "C*"
support = "beam"
beam = { E_GPa = 210, G_GPa = 81, I_cm4 = 60000, J_cm4 = 200, A_cm2 = 160, Av_cm2 = 60 }
held_at = ["L1", "L2"]
[[case]]
name = "wheel"
patches = [{ at_m = [1.5, 0.0], size_m = [0.6, 0.6], load_kN = 100.0 }]
[[probe]]
name = "mid"
at_m = [1.5, 0.0]
[mesh]
order = 2
size_m = 1.5
"""

HEAD = """
title = "tiny study"
base = "deck.toml"
[design]
kind = "grid"
[reference]
bay = 1
cases = ["wheel"]
beams = "C*"
[run]
tolerance_every = 0
"""

PARAMETERS = """
[[parameter]]
name = "k"
group = "EI_b/(D L)"
values = [1, 100]
[[parameter]]
name = "load"
unit = "kN"
key = "case.wheel.patches.1.load_kN"
values = [50, 100]
[[parameter]]
name = "edge_L"
group = "edge distance/L"
values = [0.2, 0.6]
"""

RESPONSES = """
[set]
"probe.mid.at_m" = ["x", "y"]
[[response]]
name = "m"
unit = "kNm/m"
path = "probes.mid.cases.wheel.m_x"
[[response]]
name = "M"
unit = "kNm"
strip = { case = "wheel" }
[[response]]
name = "width"
unit = "m"
formula = "M / m"
[[response]]
name = "irc"
unit = "m"
hand = { strips = "IRC:112 annex B-3", case = "wheel" }
"""


def write_study(folder: Path, *parts: str, deck: str = DECK) -> Path:
    """The study file of the given parts beside its base deck."""
    (folder / "deck.toml").write_text(deck, encoding="utf-8")
    path = folder / "study.toml"
    path.write_text("".join(parts or (HEAD, PARAMETERS, RESPONSES)), encoding="utf-8")
    return path


class SerialExecutor(Executor):
    """Runs what it is given at once, in this process."""

    def submit(self, fn: Any, /, *args: Any, **kwargs: Any) -> Future[Any]:
        future: Future[Any] = Future()
        try:
            future.set_result(fn(*args, **kwargs))
        except BaseException as error:
            future.set_exception(error)
        return future


class SerialPool:
    """Stands for local workers where a test does not need processes."""

    def __init__(self, count: int = 1) -> None:
        self.count = count
        self.executor: Executor = SerialExecutor()

    def killed(self, error: BaseException) -> bool:
        return False

    def check(self) -> None: ...

    def close(self) -> None: ...


FIT = """
title = "A width"
response = "y"
label = "b/L"
form = "power law"
safe = "below"
quantile = 0.1
families = ["family"]
[hold_out]
by = ["geometry"]
share = 0.25
seed = 3
[compare]
"hand" = "hand"
[[input]]
name = "a"
label = "a/L"
[[input]]
name = "k"
formula = "1 + 2 / stiffness"
label = "1 + 2 D L/EI"
"""


COEFFICIENTS = (-0.5, 0.31, -0.12)


def columns(noise: float = 0.0, seed: int = 1) -> tuple[Column, ...]:
    """A table made from a known power law: y = exp(c0) a^c1 (1 + 2/stiffness)^c2, times noise."""
    rng = np.random.default_rng(seed)
    a, stiffness = (
        values.ravel()
        for values in np.meshgrid(np.geomspace(0.1, 0.5, 12), np.geomspace(1.0, 100.0, 10))
    )
    c0, c1, c2 = COEFFICIENTS
    y = np.exp(c0) * a**c1 * (1.0 + 2.0 / stiffness) ** c2
    y = y * np.exp(noise * rng.standard_normal(y.size))
    n = y.size
    family = np.where(stiffness < 10.0, "soft", "stiff")
    hand = np.where(a < 0.3, 1.2 * y, np.nan)
    named: dict[str, Any] = {
        "row": np.arange(1, n + 1).tolist(),
        "a": a.tolist(),
        "stiffness": stiffness.tolist(),
        "y": y.tolist(),
        "family": family.tolist(),
        "geometry": [int(i) // 4 for i in range(n)],
        "hand": [None if math.isnan(v) else v for v in hand.tolist()],
    }
    return tuple(Column(name, "", "", tuple(values)) for name, values in named.items())
