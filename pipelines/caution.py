"""The caution that stands on everything that a person may see alone."""

TO_VERIFY = "for a qualified engineer to verify"
"""As a field beside a value."""
CAUTION = (
    f"Results are {TO_VERIFY}. Local codes and licensed practice govern; factors, national "
    "annexes and editions are the user's to confirm."
)
"""As a sentence."""
