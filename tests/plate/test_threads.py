"""The limit of one thread holds while anybody is inside."""

import os
import subprocess
import sys
from threading import Thread

import numpy as np
from threadpoolctl import threadpool_limits

from plate.threads import one_blas_thread, one_thread
from tests.helpers import blas_threads


def test_threads_that_come_and_go_do_not_lift_it() -> None:
    seen: list[int] = []
    _ = np.eye(2) @ np.eye(2)
    with threadpool_limits(2, user_api="blas"):
        with one_thread:
            for _k in range(2):
                thread = Thread(target=lambda: seen.append(one_blas_thread(blas_threads)()))
                thread.start()
                thread.join()
                seen.append(blas_threads())
        assert seen == [1, 1, 1, 1]
        assert blas_threads() == 2


def test_it_holds_for_a_library_that_is_loaded_only_inside() -> None:
    """scipy brings a library of its own beside numpy's."""
    program = """
import numpy as np
from threadpoolctl import threadpool_info
from plate.threads import one_thread
with one_thread:
    import scipy.linalg
    print({library["num_threads"] for library in threadpool_info()})
"""
    done = subprocess.run(
        [sys.executable, "-c", program], check=True, capture_output=True, text=True,
        env=os.environ | {"OPENBLAS_NUM_THREADS": "2", "PYTHONPATH": os.pathsep.join(sys.path)},
    )  # fmt: skip
    assert done.stdout.strip() == "{1}"
