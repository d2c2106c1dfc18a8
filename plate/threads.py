"""Threads of the linear algebra library.

Fronts of a factorisation are small: two threads inside one product cost far more than they
give. Work is shared between blocks of loads instead, one thread each.
"""

from collections.abc import Callable
from functools import cache, wraps
from threading import Lock
from typing import ParamSpec, TypeVar

from threadpoolctl import ThreadpoolController

P = ParamSpec("P")
T = TypeVar("T")


@cache
def _controller() -> ThreadpoolController:
    # It knows the libraries that are loaded; scipy has one of its own beside numpy's.
    import scipy.linalg  # noqa: F401

    return ThreadpoolController()


class _Limit:
    """One thread inside each product, from the first that enters to the last that leaves.

    The setting is the whole process's: one of several threads that leaves must not lift it from the
    others. Who starts threads enters first, since OpenBLAS may ignore what they set themselves.
    """

    def __init__(self) -> None:
        self._lock = Lock()
        self._inside = 0
        self._restore: Callable[[], None] | None = None

    def __enter__(self) -> None:
        with self._lock:
            if self._inside == 0:
                limiter = _controller().limit(limits=1, user_api="blas")
                self._restore = limiter.restore_original_limits
            self._inside += 1

    def __exit__(self, *_: object) -> None:
        with self._lock:
            self._inside -= 1
            if self._inside == 0 and self._restore is not None:
                self._restore()


one_thread = _Limit()


def one_blas_thread(function: Callable[P, T]) -> Callable[P, T]:
    """Run `function` with one thread inside each product of matrices."""

    @wraps(function)
    def limited(*args: P.args, **kwargs: P.kwargs) -> T:
        with one_thread:
            return function(*args, **kwargs)

    return limited
