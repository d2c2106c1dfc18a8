"""The stated mesh error against the true one; see benchmarks/effectivity.py, whose decks these
are."""

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest


@pytest.fixture(scope="module")
def effectivity() -> ModuleType:
    path = Path(__file__).parents[2] / "benchmarks" / "effectivity.py"
    spec = importlib.util.spec_from_file_location("effectivity", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


@pytest.mark.slow
def test_true_errors_are_inside_the_stated_ones(effectivity: ModuleType) -> None:
    """Of all decks: 2039 values, 98.5 % inside when this was last measured."""
    parts = [effectivity.deck_errors(kind) for kind in effectivity.KINDS]
    every = effectivity.joined(parts)
    use = every.counted
    assert use.sum() >= 1500
    assert use.mean() > 0.85  # the reference is known well enough nearly everywhere
    assert every.inside[use].mean() >= 0.95
    # of each deck, which has a hundred values or two, one or two less
    assert min(part.inside[part.counted].mean() for part in parts) >= 0.94
    assert 1.0 <= np.median(every.effectivity[use]) <= 3.0
    # values that matter, wrong by more than a thousandth of the largest of their kind
    wrong = use & (every.true > 1e-3 * every.largest)
    assert wrong.sum() >= 100
    assert every.inside[wrong].mean() >= 0.95


def test_one_deck(effectivity: ModuleType) -> None:
    """A clamped panel under its weight and a wheel: 94 values."""
    kind = next(k for k in effectivity.KINDS if k.name == "clamped panel")
    errors = effectivity.deck_errors(kind)
    use = errors.counted
    assert use.sum() > 80
    assert errors.inside[use].mean() >= 0.95
    assert 1.0 <= np.median(errors.effectivity[use]) <= 3.0


def test_what_is_counted(effectivity: ModuleType) -> None:
    """Zeros by symmetry and values of a doubtful reference are not; rounding is no error."""
    errors = effectivity.Errors(
        ("a w", "b w", "c w", "d w"),
        np.array([1.0, 1e-6, 1.0, 1.0]),
        np.array([0.02, 1.0, 0.02, 0.0]),
        np.array([0.01, 1.0, 0.03, 1e-12]),
        np.array([0.001, 0.0, 0.02, 0.0]),
        np.ones(4),
    )
    assert errors.counted.tolist() == [True, False, False, True]
    assert errors.inside.tolist() == [True, True, False, True]
    assert errors.effectivity[0] == pytest.approx(2.0)
