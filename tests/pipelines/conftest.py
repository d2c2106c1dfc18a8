"""What tests of several rooms look at, computed once."""

import pytest

from pipelines.analysis.analyse import analyse
from pipelines.analysis.result import Result
from tests.pipelines.small_decks import small_deck


@pytest.fixture(scope="session")
def small_result(tmp_path_factory: pytest.TempPathFactory) -> Result:
    """A run on two bays on elastic cross beams under one lorry; nothing may be written to it."""
    return analyse(small_deck(tmp_path_factory.mktemp("small")))
