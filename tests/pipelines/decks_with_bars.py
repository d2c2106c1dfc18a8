"""Parts of deck files with bars."""

from tests.pipelines.small_decks import WEIGHT, mat

BARS = (
    WEIGHT
    + """
[[concrete]]
standard = "EN 1992"
grade = "C30/37"
exposure = { top = "XD1", bottom = "XC3" }
crack_combination = "frequent"
[[concrete]]
standard = "IRC:112"
grade = "M40"
exposure = { top = "severe", bottom = "moderate" }
aggregate_mm = 25
crack_combination = "frequent"
[[concrete]]
standard = "AASHTO LRFD"
grade = "5 ksi"
exposure = { top = "deck surface, tyre wear", bottom = "slab soffit" }
[[steel]]
standard = "EN 1992"
grade = "B500B"
[[steel]]
standard = "IRC:112"
grade = "Fe 500"
[[steel]]
standard = "AASHTO LRFD"
grade = "Grade 60"
"""
    + mat("bottom", "16@150", "12@125")
    + mat("top", "16@200", "12@300", cover=45, outer="y")
    + """
[mesh]
size_m = 1.5
order = 2
"""
)


GRADES = """
[[concrete]]
standard = "EN 1992"
grade = "C35/45"
exposure = { top = "XD1" }
[[steel]]
standard = "EN 1992"
grade = "B500B"
"""


BOTTOM = """
[[bars]]
face = "bottom"
cover_mm = 40
outer = "x"
x = { diameter_mm = 16, spacing_mm = 125 }
y = { diameter_mm = 12, spacing_mm = 150 }
"""


TOP = BOTTOM.replace("bottom", "top").replace("40", "45")
