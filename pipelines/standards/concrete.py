"""Concrete strength classes and their modulus of elasticity.

Source: EN 1992-1-1:2004, table 3.1 and clause 3.1.3 (from memory). The modulus is that of
concrete with quartzite aggregate; the clause lowers it by 10 % for limestone and 30 % for
sandstone and raises it by 20 % for basalt. A deck file that needs this says E_GPa itself.
"""

STANDARD = "EN 1992-1-1"

CYLINDER_STRENGTH_MPA = {
    "C12/15": 12.0,
    "C16/20": 16.0,
    "C20/25": 20.0,
    "C25/30": 25.0,
    "C30/37": 30.0,
    "C35/45": 35.0,
    "C40/50": 40.0,
    "C45/55": 45.0,
    "C50/60": 50.0,
    "C55/67": 55.0,
    "C60/75": 60.0,
    "C70/85": 70.0,
    "C80/95": 80.0,
    "C90/105": 90.0,
}
"""Characteristic cylinder strength f_ck [MPa] by strength class (cylinder/cube)."""


def secant_modulus(strength_class: str) -> float:
    """E_cm [Pa] of a class of `CYLINDER_STRENGTH_MPA`, by the formula under table 3.1.

    E_cm = 22 (f_cm / 10)^0.3 GPa with f_cm = f_ck + 8 MPa; not rounded as the table prints it.
    """
    return modulus_by_strength(CYLINDER_STRENGTH_MPA[strength_class])


def modulus_by_strength(f_ck: float) -> float:
    """E_cm [Pa] of a cylinder strength [MPa], by the same formula."""
    return 22.0e9 * float(((f_ck + 8.0) / 10.0) ** 0.3)
