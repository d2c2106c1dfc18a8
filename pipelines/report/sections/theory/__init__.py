"""The theory behind the results in words and formulas: mechanics, errors, strips, checks."""
