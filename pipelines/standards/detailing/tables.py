"""Tables behind the detailing rules (SI: m; strengths in MPa), all from memory.

EN 1992-1-1:2004 and EN 1992-2:2005 recommended values, IRC:112-2020, AASHTO LRFD 9th edition.
"""

from pipelines.standards.sources import Standard

# (role, at a peak) -> (times the thickness, most [m])
SPACING: dict[Standard, dict[tuple[str, bool], tuple[float, float]]] = {
    "EN 1992": {  # 9.3.1.1(3)
        ("main", False): (3.0, 0.400),
        ("main", True): (2.0, 0.250),
        ("distribution", False): (3.5, 0.450),
        ("distribution", True): (3.0, 0.400),
    },
    "IRC:112": {  # 16.6.1.1(4), one pair of limits everywhere
        ("main", False): (2.0, 0.250),
        ("main", True): (2.0, 0.250),
        ("distribution", False): (3.0, 0.400),
        ("distribution", True): (3.0, 0.400),
    },
    "AASHTO LRFD": {  # 5.10.3.2: 1.5 h, 18 in
        ("main", False): (1.5, 0.4572),
        ("main", True): (1.5, 0.4572),
        ("distribution", False): (1.5, 0.4572),
        ("distribution", True): (1.5, 0.4572),
    },
}

# EN 1992-1-1 table 4.4N: c_min,dur of structural classes S1 .. S6 [m]
_XC2_XC3 = (0.010, 0.015, 0.020, 0.025, 0.030, 0.035)
_XD1_XS1 = (0.020, 0.025, 0.030, 0.035, 0.040, 0.045)
_XD2_XS2 = (0.025, 0.030, 0.035, 0.040, 0.045, 0.050)
_XD3_XS3 = (0.030, 0.035, 0.040, 0.045, 0.050, 0.055)
EN_COVER: dict[str, tuple[float, ...]] = {
    "X0": (0.010, 0.010, 0.010, 0.010, 0.015, 0.020),
    "XC1": (0.010, 0.010, 0.010, 0.015, 0.020, 0.025),
    "XC2": _XC2_XC3,
    "XC3": _XC2_XC3,
    "XC4": (0.015, 0.020, 0.025, 0.030, 0.035, 0.040),
    "XD1": _XD1_XS1,
    "XS1": _XD1_XS1,
    "XD2": _XD2_XS2,
    "XS2": _XD2_XS2,
    "XD3": _XD3_XS3,
    "XS3": _XD3_XS3,
}

# EN 1992-1-1 table 4.3N: cylinder strength from which the class is one less [MPa]
EN_STRONG: dict[str, float] = {
    "X0": 30,
    "XC1": 30,
    "XC2": 35,
    "XC3": 35,
    "XC4": 40,
    "XD1": 40,
    "XD2": 40,
    "XD3": 45,
    "XS1": 40,
    "XS2": 45,
    "XS3": 45,
}

# EN 1992-1-1 table E.1N: least cylinder strength [MPa]
EN_DURABILITY_GRADE: dict[str, float] = {
    "X0": 12,
    "XC1": 20,
    "XC2": 25,
    "XC3": 30,
    "XC4": 30,
    "XD1": 30,
    "XD2": 30,
    "XD3": 35,
    "XS1": 30,
    "XS2": 35,
    "XS3": 35,
}

# IRC:112 table 14.2: nominal cover [m], least cube strength [MPa]
IRC_COVER: dict[str, tuple[float, float]] = {
    "moderate": (0.040, 25.0),
    "severe": (0.045, 30.0),
    "very severe": (0.050, 40.0),
    "extreme": (0.075, 45.0),
}

# AASHTO LRFD table 5.10.1-1, black bars, without its factors for the water-cement ratio [m]
AASHTO_COVER: dict[str, float] = {
    "deck surface, tyre wear": 0.0635,
    "de-icing salts": 0.0635,
    "coastal": 0.0762,
    "exterior": 0.0508,
    "slab soffit": 0.0254,
}

# Exposures of IRC:112 table 12.1 whose crack width is limited more than that of the others.
SEVERE = ("very severe", "extreme")

# EN 1992-1-1 table 7.2N (IRC:112 has the same): largest bars [mm] at stresses of the steel [MPa],
# for crack widths of 0.4, 0.3 and 0.2 mm; 450 MPa has no bar for 0.2 mm
BAR_STRESSES = (160.0, 200.0, 240.0, 280.0, 320.0, 360.0, 400.0, 450.0)  # MPa
LARGEST_BARS: dict[float, tuple[float, ...]] = {
    0.4: (40, 32, 20, 16, 12, 10, 8, 6),
    0.3: (32, 25, 16, 12, 10, 8, 6, 5),
    0.2: (25, 16, 12, 8, 6, 5, 4),
}

LIST_EXPOSURES: dict[Standard, list[str]] = {
    "EN 1992": list(EN_COVER),
    "IRC:112": list(IRC_COVER),
    "AASHTO LRFD": list(AASHTO_COVER),
}
