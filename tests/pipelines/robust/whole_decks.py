"""Sound deck files of every kind, that hostile tests make unsound."""

from tests.pipelines.decks_with_bars import BOTTOM, GRADES, TOP
from tests.pipelines.small_decks import BEAMS, COARSE, PLAN, SLAB

# Whole load models with all that is made of bars.
MODELS = """
[[line]]
on = ["L1", "L2"]
support = "beam"
to_edges = true
beam = { E_GPa = 34, G_GPa = 14, I_cm4 = 500000, J_cm4 = 90000, A_cm2 = 2000 }
[traffic]
carriageway_m = [-1.9, 1.9]
load_models = ["EN 1991-2 LM1"]
vehicles = ["EN 1991-2 LM2"]
step_m = 1.5
lateral_step_m = 1.0
[collision]
force_kN = 100
height_m = 1.0
length_m = 0.5
inner_face_mm = 350
edges = ["left", "right"]
[fatigue]
lambda_s = 0.7
[[beam_bars]]
on = ["L1", "L2"]
width_mm = 350
depth_mm = 620
cover_mm = 50
top = { count = 4, diameter_mm = 20 }
bottom = { count = 4, diameter_mm = 20 }
links = { diameter_mm = 12, spacing_mm = 120, legs = 2 }
[[membrane]]
stations_m = [1.0, 4.0]
n_x_kN_m = 150
gamma = 1.35
[bar_choice]
diameters_mm = [12, 16, 20]
spacings_mm = [100, 125, 150, 200]
"""


ALL = SLAB + PLAN + BEAMS + MODELS + COARSE + GRADES + BOTTOM + TOP
