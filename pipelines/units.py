"""Units of reports and files: results are kept in SI and shown in mm, kNm/m and kN/m."""

from plate.conventions import RESULTS

# Names of the results in files, their units and the factors from SI.
RESULT_KEYS = ("w_mm", *RESULTS[1:])
RESULT_UNITS = ("mm", "kNm/m", "kNm/m", "kNm/m", "kN/m", "kN/m")
RESULT_SCALE = (1e3, 1e-3, 1e-3, 1e-3, 1e-3, 1e-3)
