"""Threads of the linear algebra library.

Fronts of a factorisation are small: two threads inside one product cost far more than they
give. Work is shared between blocks of loads instead, one thread each.
"""

from collections.abc import Callable
from functools import cache, wraps
from typing import ParamSpec, TypeVar

from threadpoolctl import ThreadpoolController

P = ParamSpec("P")
T = TypeVar("T")


@cache
def _controller() -> ThreadpoolController:
    return ThreadpoolController()


def one_blas_thread(function: Callable[P, T]) -> Callable[P, T]:
    """Run `function` with one thread inside each product of matrices."""

    @wraps(function)
    def limited(*args: P.args, **kwargs: P.kwargs) -> T:
        with _controller().limit(limits=1, user_api="blas"):
            return function(*args, **kwargs)

    return limited
