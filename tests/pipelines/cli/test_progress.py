"""Ctrl-C while a command tells how far it has come."""

import signal

import pytest

from pipelines.cli.progress import Progress


def test_an_interrupt_that_was_lost_is_raised_again() -> None:
    before = signal.getsignal(signal.SIGINT)
    with Progress(quiet=True) as tell:
        tell("mesh", 0, 1)
        with pytest.raises(KeyboardInterrupt):
            signal.raise_signal(signal.SIGINT)
        # as if it had come within a destructor: the work goes on to its next stage
        with pytest.raises(KeyboardInterrupt):
            tell("load positions", 0, 1)
    assert signal.getsignal(signal.SIGINT) is before


def test_an_interrupt_that_is_ignored_stays_so() -> None:
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        with Progress(quiet=True) as tell:
            signal.raise_signal(signal.SIGINT)
            tell("mesh", 0, 1)
        assert signal.getsignal(signal.SIGINT) is signal.SIG_IGN
    finally:
        signal.signal(signal.SIGINT, before)
