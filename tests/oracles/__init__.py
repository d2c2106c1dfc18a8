"""Independent solutions that tests compare with: other routes to the same numbers."""
