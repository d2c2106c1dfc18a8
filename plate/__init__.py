"""Plate mechanics: geometry, mesh, element, supports, beams, loads, solution and recovery.

This package knows no vehicle, no code of practice and no deck file.
"""
