"""The carriageway's axis in a deck file: what it may be, and every mistake told with its key."""

from pathlib import Path

import numpy as np
import pytest

from pipelines.deck.deck import Deck
from pipelines.errors import DeckError
from pipelines.report.sections.limits import not_covered
from plate.geometry.axis import Axis
from tests.pipelines.small_decks import deck_of

SLAB = "[slab]\nthickness_mm = 300\nE_GPa = 30\n"
PLAN = "[plan]\noutline_m = [[0, -5], [12, -5], [12, 5], [0, 5]]\n"
LINES = '[[line]]\non = ["E2", "E4"]\nsupport = "rigid"\n'
GRID = "[plan]\nstations_m = [0, 12]\noffsets_m = [-5, 5]\n"
ON_GRID = '[[line]]\non = ["C1", "C2"]\nsupport = "rigid"\n'
KEY = "[traffic] carriageway_axis_m"


def traffic(axis: str, edges: str = "[-3, 3]") -> str:
    given = f"carriageway_axis_m = {axis}\n" if axis else ""
    return f'[traffic]\ncarriageway_m = {edges}\nvehicles = ["EN 1991-2 LM2"]\n{given}'


def deck(tmp_path: Path, axis: str, edges: str = "[-3, 3]") -> Deck:
    return deck_of(tmp_path, SLAB, PLAN, LINES, traffic(axis, edges))


def axis_of(given: Deck) -> Axis:
    found = given.required_traffic.axis
    assert found is not None
    return found


def test_straight_arcs_and_without(tmp_path: Path) -> None:
    assert deck(tmp_path, "").required_traffic.axis is None
    straight = axis_of(deck(tmp_path, "[[0, 1], [12, -1]]"))
    assert straight.straight
    assert straight.knots[-1] == pytest.approx(np.hypot(12.0, 2.0))
    # 30 degrees of a circle of 12 m radius that begins along x
    x, y = 12.0 * np.sin(np.radians(30)), 12.0 * (1.0 - np.cos(np.radians(30)))
    a, b = 12.0 * np.sin(np.radians(15)), 12.0 * (1.0 - np.cos(np.radians(15)))
    arc = f"[[-3, 0], [0, 0], {{ arc_to_m = [{x}, {-y}], through_m = [{a}, {-b}] }}]"
    bent = axis_of(deck(tmp_path, arc))
    np.testing.assert_allclose(bent.curvature, [0.0, -1.0 / 12.0], atol=1e-12)


def test_chords_of_a_curve_are_smooth(tmp_path: Path) -> None:
    """Chords of 2 m on a radius of 40 m turn by 2.9 degrees; the axis has that radius again."""
    angles = np.arange(7) * 0.05
    chords = np.column_stack([40.0 * np.sin(angles), -40.0 * (1.0 - np.cos(angles))])
    given = deck(tmp_path, str(chords.tolist()))
    assert "drawn as chords that turn by 2.9° at most" in given.warnings[0]
    np.testing.assert_allclose(axis_of(given).curvature, -1.0 / 40.0, rtol=1e-3)


@pytest.mark.parametrize(
    ("axis", "edges", "told"),
    [
        ("[[0, 0], [6, 0], [12, 2]]", "[-3, 3]", f"{KEY}: turns by 18.4 degrees at 6, 0, where"),
        ("[[0, 0]]", "[-3, 3]", f"{KEY} = a list of 1: must be a list of 2 to 1000"),
        ("[[0, 0], [0, 0]]", "[-3, 3]", f"{KEY} 2 = [0, 0]: must be 0.01 m or more from"),
        ('"x"', "[-3, 3]", f'{KEY} = "x"'),
        ("[[0, 0], [1, 2, 3]]", "[-3, 3]", f"{KEY}"),
        ("[[0, 0], [nan, 2]]", "[-3, 3]", f"{KEY}"),
        (
            "[{ arc_to_m = [3, 3], through_m = [1, 2] }, [4, 4]]",
            "[-3, 3]",
            f"{KEY} 1: an arc needs a corner before it",
        ),
        (
            "[[0, 0], { arc_to_m = [8, 0], through_m = [9, 0] }]",
            "[-3, 3]",
            f"{KEY} 2, through_m = [9, 0]: the point on the arc lies on its chord's extension",
        ),
        # a circle of 2.5 m radius
        (
            "[[0, 0], { arc_to_m = [5, 0], through_m = [2.5, 2.5] }]",
            "[-3, 3]",
            "[traffic] carriageway_m = -3: reaches the centre of an arc of the axis, whose radius "
            "is 2.5 m",
        ),
        # back over itself: 300 degrees of a circle, carried on straight on both sides
        (
            "[[6, -2], { arc_to_m = [8, -1.4641], through_m = [7, 1.7320] }]",
            "[-1.2, 1.2]",
            f"{KEY}: the carriageway along it meets itself",
        ),
        ("[[0, 40], [12, 40]]", "[-3, 3]", "[traffic] carriageway_m = [-3, 3]: beside the slab"),
        ("[[0, 0], [12, 0]]", "[3, -3]", "[traffic] carriageway_m = [3, -3]: the left edge first"),
        ("[[0, 0], [12, 0]]", "[-40, 40]", "80 m wide on a slab of 10 m; allowed is 3 times"),
    ],
)
def test_mistakes(tmp_path: Path, axis: str, edges: str, told: str) -> None:
    with pytest.raises(DeckError) as error:
        deck(tmp_path, axis, edges)
    assert told in str(error.value)


def test_not_on_a_grid(tmp_path: Path) -> None:
    with pytest.raises(DeckError, match="over C and L lines traffic runs along x"):
        deck_of(tmp_path, SLAB, GRID, ON_GRID, traffic("[[0, 0], [12, 0]]"))


def test_what_lies_beyond_the_carriageway_is_told(tmp_path: Path) -> None:
    """A strip of 1 m beside the left edge is a verge; 3 m beside the right one are told, as well
    as in the limits what bears no wheel: of 6 m by 12 m all, LM2 keeping no distance."""
    given = deck(tmp_path, "[[0, -1], [12, -1]]")
    (warning,) = given.warnings
    assert warning.startswith("36 m2 of the slab, x from 0.00 to 12.00 m and y from 2.00 to 5.00 m")
    (limit,) = (one for one in not_covered(given, singular=False) if "beyond the edges" in one)
    assert "48 m2 of it" in limit
    assert "from −3.00 to 3.00 m off its axis" in limit
    assert "leaves 0 of 72 m2" in limit
    assert not deck(tmp_path, "[[0, 0], [12, 0]]", "[-4, 4]").warnings
