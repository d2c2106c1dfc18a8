"""Closed forms and series of plate theory, free of finite elements.

They serve to check the finite-element solution and depend on nothing else of this package but its
errors. Everything is in consistent units: with a = q = D = 1 the results are the dimensionless
factors of the handbooks. Signs as everywhere: w down, sagging moments positive, q = div m.
"""
