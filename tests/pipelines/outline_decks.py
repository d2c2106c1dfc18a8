"""Parts of deck files with plans of any outline."""

BEAM = "beam = { E_GPa = 34, G_GPa = 14, I_cm4 = 500000, J_cm4 = 90000, A_cm2 = 2000 }"


# A ramp between two arcs with a square and a round opening and an oblique beam.
RAMP = """
[plan]
outline_m = [[0, -2], { arc_to_m = [8, -1], through_m = [4, -1.7] }, [8, 2],
             { arc_to_m = [0, 3], through_m = [4, 2.2] }]
[[opening]]
corners_m = [[2, 0.5], [3, 0.5], [3, 1.5], [2, 1.5]]
[[opening]]
centre_m = [6, 0.5]
diameter_m = 0.6
[[line]]
on = ["E2", "E4"]
support = "rigid"
[[line]]
name = "rib"
path_m = [[4, -1.7], [4.6, 1.0]]
support = "beam"
held_at = ["E1"]
"""


# A slab between two supported edges with a wall across its middle.
WALLED = """
[plan]
outline_m = [
  [0.0, -2.0], { arc_to_m = [6.0, -2.4], through_m = [3.0, -2.5] }, [6.0, 2.0], [0.0, 2.0] ]
[[line]]
on = ["E2", "E4"]
support = "rigid"
[[line]]
name = "W1"
path_m = [[3.0, -2.5], [3.2, 2.0]]
support = "rigid"
width_mm = 300
"""
