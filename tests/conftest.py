"""Settings of the test run."""

import os

from hypothesis import settings

# One thread inside each product, before numpy is loaded and in processes that tests start: small
# products gain nothing by more, which would wait for each other where workers share processors.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

# The same examples on every machine, and no failure because a machine is slow.
settings.register_profile("steady", derandomize=True, deadline=None, max_examples=30)
settings.load_profile("steady")
