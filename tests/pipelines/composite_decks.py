"""A deck file of a slab 2 m wide on one girder, 20 m long, cases of its life, and its hand sums."""

L, B, T = 20.0, 2.0, 0.22
E_S, E_C = 210e9, 34e9
AREA, INERTIA, E = 0.0258, 0.004292, 0.61  # eccentricity: half of 1 m, and of the slab
N_LONG, N_SHRINKAGE = 18.0, 15.0

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


def by_hand(n: float, load: float) -> dict[str, float]:
    """Mid-span of the composite section under a load [N/m]: beam's M and N, slab's m_x, w."""
    EA_c, EI_c = E_S / n * B * T, E_S / n * B * T**3 / 12
    EA_s, EI_s = E_S * AREA, E_S * INERTIA
    joint = EA_c * EA_s / (EA_c + EA_s)
    EI = EI_c + EI_s + joint * E**2
    M = load * L**2 / 8
    return {
        "M": M * EI_s / EI,
        "N": M * joint * E / EI,
        "m_x": M * EI_c / EI / B,
        "w": 5 * load * L**4 / (384 * EI),
    }


def strained(n: float, strain: float) -> dict[str, float]:
    """The same for a strain of the slab against the beam: the slab's force without load."""
    EA_c, EI_c = E_S / n * B * T, E_S / n * B * T**3 / 12
    EA_s, EI_s = E_S * AREA, E_S * INERTIA
    N = -strain / (1 / EA_c + 1 / EA_s + E**2 / (EI_c + EI_s))  # tension of the slab
    kappa = N * E / (EI_c + EI_s)
    return {"M": EI_s * kappa, "N": -N, "m_x": EI_c * kappa / B, "w": kappa * L**2 / 8}
