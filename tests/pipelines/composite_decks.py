"""A deck file of a slab 2 m wide on one girder, 20 m long, and cases of its life."""

COMPOSITE = """
[slab]
thickness_mm = 220
E_GPa = 34.0
poisson = 0.0
density_kN_m3 = 25.0
[plan]
stations_m = [0.0, 20.0]
offsets_m = [-1.0, 0.0, 1.0]
[[line]]
on = "C*"
support = "rigid"
[[line]]
on = "L2"
support = "beam"
[line.beam]
E_GPa = 210
G_GPa = 81
I_cm4 = 429200
J_cm4 = 331
A_cm2 = 258
eccentricity_mm = 610
connection = "full"
"""

CASES = """
[stages]
long_term_n = 18.0
shrinkage_n = 15.0
[[case]]
name = "fresh"
self_weight = true
stage = "wet concrete"
[[case]]
name = "surfacing"
pressure_kN_m2 = 2.0
stage = "long-term"
[[case]]
name = "shrinkage"
shrinkage_permille = 0.3
stage = "shrinkage"
[[case]]
name = "crowd"
pressure_kN_m2 = 5.0
[[case]]
name = "warm slab"
temperature = { mean_K = 10.0 }
[[case]]
name = "warm top"
temperature = { difference_K = 10.0 }
[[sum]]
name = "design"
factors = { fresh = 1.35, surfacing = 1.35, shrinkage = 1.0, crowd = 1.5 }
[[probe]]
name = "mid"
at_m = [10.0, 0.4]
[mesh]
size_m = 1.0
"""
