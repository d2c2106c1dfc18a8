"""Settings of the test run."""

from hypothesis import settings

# The same examples on every machine, and no failure because a machine is slow.
settings.register_profile("steady", derandomize=True, deadline=None, max_examples=60)
settings.load_profile("steady")
