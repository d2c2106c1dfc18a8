"""Strip methods of a user's own: run only where permitted, worth what they say, marked, and told
where they are wrong."""

import pickle
import re
from pathlib import Path

import numpy as np
import pytest

from pipelines import DeckFile, Kept
from pipelines.analysis.analyse import analyse
from pipelines.cli.main import main
from pipelines.deck.reading.deck_file import read_deck
from pipelines.deck.reading.named_files import files_of
from pipelines.errors import DeckError, OwnError
from pipelines.strips.hand_strip import HandStrip
from pipelines.strips.hand_values import HandStrips
from pipelines.strips.sections import Kind, Section
from pipelines.strips.under_traffic import hands_of
from pipelines.system.beside import Beside
from tests.pipelines.own.office import DECK, WIDTH, installed, written

# Heft 240 written once more as a user would, for one load at one place; shear at 45 degrees from
# the far side.
HEFT = """
from pipelines import MethodRangeError, OwnStrip


def sides(strip):
    spread = 2 * strip.surfacing + strip.depth
    return strip.contact[0] + spread, strip.contact[1] + spread


def within(strip, most):
    if sides(strip)[1] > most * strip.span:
        raise MethodRangeError("too wide a load")


def sagging(strip):
    within(strip, 0.8)
    k = {"simple": 2.5, "one end": 1.5, "both ends": 1.0}[strip.ends]
    x = strip.position
    return sides(strip)[1] + k * x * (1 - x / strip.span)


def hogging(strip):
    within(strip, 0.8 if strip.ends == "one end" else 0.4)
    x = strip.position
    return sides(strip)[1] + 0.5 * x * (2 - x / strip.span)


def overhang(strip):
    within(strip, 0.8)
    return max(sides(strip)[1], 0.2 * strip.span) + 1.5 * strip.position


def shear(strip):
    a_v = strip.position - 0.5 * (strip.support_width + strip.contact[0])
    return max(strip.contact[1] + 2 * (a_v + strip.contact[0]), 4 * strip.d)


strips = (
    OwnStrip(
        name="heft again",
        source="office note 1",
        sagging=sagging,
        hogging=hogging,
        overhang=overhang,
        shear=shear,
        patch=sides,
        per="wheel",
        joined=True,
        across=0.6,
    ),
)
"""
MOMENT = """
from pipelines import OwnMoment


def simple(strip, load):
    return load * strip.span / 4 / 2.5


strips = [
    OwnMoment(name="quarter", source="office note 2", sagging=simple, hogging=simple, per="wheel")
]
"""


def hands(folder: Path, code: str) -> HandStrips:
    """The strips along the deck whose file gives that code."""
    path, file = written(folder, code)
    return hands_of(read_deck(path, own=[file]))["parallel", "lorry"]


def section(kind: Kind, *lines: str) -> Section:
    return Section(
        kind=kind,
        place="",
        where="",
        effect="",
        component=0,
        sign=-1 if kind == "hogging" else 1,
        points=np.array([0]),
        lines=lines,
    )


def by(hands: HandStrips, kind: Kind, *lines: str) -> dict[str, HandStrip]:
    return {one.strip: one for one in hands.at(section(kind, *lines))}


def test_a_rule_written_again_gives_what_the_library_has(tmp_path: Path) -> None:
    """The same formula asked place by place: the two differ by rounding alone."""
    path, file = written(tmp_path, HEFT)
    long = path.read_text(encoding="utf-8").replace("start = 0.4", "start = 1.2")
    path.write_text(long, encoding="utf-8")
    found = hands_of(read_deck(path, own=[file]))["parallel", "lorry"]
    heft, french = "DAfStb Heft 240", "French practice"
    places: tuple[tuple[str, tuple[Kind, *tuple[str, ...]]], ...] = (
        (heft, ("sagging", "C1", "C2")),
        (heft, ("hogging", "C2")),
        (heft, ("hogging", "C1")),  # the root of an overhang
        (heft, ("transverse", "C1", "C2")),
        (french, ("shear", "C2")),
    )
    for name, place in places:
        mine, theirs = (by(found, *place)[one] for one in ("heft again", name))
        assert theirs.value is not None, place
        assert mine.value == pytest.approx(theirs.value, rel=1e-9), place
        assert mine.width == (None if theirs.width is None else pytest.approx(theirs.width))
        assert mine.mark == "user's"
        assert "office note 1" in mine.clause


def test_a_rule_for_moments_is_asked_about_the_heaviest_wheel(tmp_path: Path) -> None:
    found = hands(tmp_path, MOMENT)
    by_hand = 50e3 * 3.0 / 4 / 2.5  # of an axle of 100 kN on a span of 3 m
    sagging, hogging = by(found, "sagging", "C1", "C2"), by(found, "hogging", "C2")
    assert sagging["quarter"].value == pytest.approx(by_hand, rel=1e-12)
    assert hogging["quarter"].value == pytest.approx(-by_hand, rel=1e-12)
    assert sagging["quarter"].mark == "user's"


def test_it_can_be_the_strip_of_the_design(tmp_path: Path) -> None:
    named = f'{DECK}[own]\nstrips = "office.py"\n[strip]\nmethod = "office rule"\n'
    path, file = written(tmp_path, WIDTH, named)
    found = hands_of(read_deck(path, own=[file]))["parallel", "lorry"]
    assert found.chosen.name == "office rule"
    assert found.at(section("sagging", "C1", "C2"))[0].chosen
    path.write_text(named.replace("office rule", "office rules"), encoding="utf-8")
    with pytest.raises(DeckError, match='nearest known one is "office rule"'):
        read_deck(path, own=[file])


def test_its_shear_is_that_of_the_design_where_it_has_one(tmp_path: Path) -> None:
    for code, name in ((HEFT, "heft again"), (WIDTH, "office rule")):
        named = f'{DECK}[own]\nstrips = "office.py"\n[strip]\nmethod = "{name}"\n'
        path, file = written(tmp_path, code, named)
        found = hands_of(read_deck(path, own=[file]))["parallel", "lorry"]
        [taken] = {one.strip for one in found.at(section("shear", "C2")) if one.chosen}
        assert taken == ("heft again" if code == HEFT else "French practice")


# ---- Nothing runs unasked ---------------------------------------------------------------------

MARKED = 'from pathlib import Path\nPath(__file__).with_name("ran").touch()\n' + WIDTH


def test_a_file_runs_only_where_the_command_names_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path, file = written(tmp_path, MARKED)
    ran = tmp_path / "ran"
    assert main(["check", str(path)]) == 2
    told = capsys.readouterr().err
    assert f'[own] strips = "office.py": the deck file would run the Python file {file}' in told
    assert f"--own {file}" in told
    assert told.count("\n") == 2
    assert not ran.exists()
    with pytest.raises(DeckError, match="would run"):
        DeckFile.read(path)
    with pytest.raises(DeckError, match="would run"):
        DeckFile.read(path, own=[tmp_path / "another.py"])
    assert not ran.exists()
    assert main(["check", str(path), "--own", str(file)]) == 0
    assert ran.exists()
    assert DeckFile.read(path, own=[file]).with_({"slab.thickness_mm": 260}).deck.own.strips.names


def test_what_is_permitted_and_not_named_is_told(tmp_path: Path) -> None:
    path, file = written(tmp_path, MARKED, DECK)
    assert any("does not name it" in words for words in read_deck(path, own=[file]).warnings)
    assert not (tmp_path / "ran").exists()


def test_a_file_is_watched(tmp_path: Path) -> None:
    path, file = written(tmp_path, WIDTH)
    assert files_of(path) == (path, file)


# ---- Packages ---------------------------------------------------------------------------------


def test_an_installed_package_gives_it_by_its_entry_point(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    installed(tmp_path, monkeypatch, WIDTH, "example_office")
    path, _ = written(tmp_path, "", f'{DECK}[own]\nstrips = "example_office"\n')
    deck = read_deck(path)
    assert deck.own.strips.names == ("office rule",)
    ((_, code),) = deck.own.codes
    assert (code.name, code.path, len(code.digest)) == ("example_office", "", 64)
    path.write_text(f'{DECK}[own]\nstrips = "exampel_office"\n', encoding="utf-8")
    with pytest.raises(DeckError, match=r'no installed package .* "exampel_office"'):
        read_deck(path)


# ---- Other processes --------------------------------------------------------------------------


def test_another_process_runs_the_file_itself(tmp_path: Path) -> None:
    who = "import os\nfrom pathlib import Path\n"
    who += 'Path(__file__).with_name(f"run-by-{os.getpid()}").touch()\n'
    path, file = written(tmp_path, who + WIDTH)
    deck = read_deck(path, own=[file])
    sent = pickle.dumps(deck.own)
    assert str(file).encode() in sent
    assert b"0.4" not in sent
    assert b"width" not in sent
    with Beside(()) as apart:
        there = apart(hands_of, deck)["parallel", "lorry"]
        here = hands_of(deck)["parallel", "lorry"]
        place = ("sagging", "C1", "C2")
        values = [by(one, *place)["office rule"].value for one in (there, here)]
        assert values[0] == pytest.approx(values[1], rel=1e-9)
    assert len(list(tmp_path.glob("run-by-*"))) == 2
    ((_, code),) = deck.own.codes
    code.require_same()
    file.write_text(who + WIDTH.replace("0.4", "0.5"), encoding="utf-8")
    with pytest.raises(OwnError, match="is not what it was"):
        code.require_same()


# ---- Mistakes ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("code", "words"),
    [
        ("strips = [", r"office\.py cannot be run: SyntaxError"),
        ("import no_such_module_anywhere", r"ModuleNotFoundError.*\(line 1\)"),
        ("x = 1\nraise SystemExit('no')", r"cannot be run: SystemExit: no \(line 2\)"),
        ("x = 1", "needs a list strips with one entry or more"),
        ("strips = []", "needs a list strips with one entry or more"),
        ("strips = [5]", r"strips 1 is a int: allowed is OwnStrip or OwnMoment"),
        (WIDTH.replace('"office rule"', '"DAfStb Heft 240"'), "another method has this name"),
        (WIDTH.replace('"office rule"', "7"), "strips 1, name: allowed is text"),
        (WIDTH.replace("sagging=width, hogging=width", ""), "has no rule"),
        (WIDTH.replace("sagging=width", "sagging=2.1"), "sagging is no function"),
        (WIDTH.replace("sagging=width", 'per="lane", sagging=width'), 'per: allowed is "axle"'),
        (WIDTH.replace("sagging=width", "across=1.2, sagging=width"), "across: allowed is a share"),
        (WIDTH.replace("sagging=width", "saging=width"), r"TypeError.*saging.*\(line 9\)"),
    ],
)
def test_what_a_file_may_not_be(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], code: str, words: str
) -> None:
    path, file = written(tmp_path, code)
    assert main(["check", str(path), "--own", str(file)]) == 2
    told = capsys.readouterr().err
    assert told.startswith("deckslab: ")
    assert "Traceback" not in told
    assert re.search(words, told), told


@pytest.mark.parametrize(
    ("given", "shown"),
    [
        ('float("nan")', "nan"),
        ("-1.2", "-1.2"),
        ("0", "0"),
        ("2100.0", "2100.0"),
        ('"2.1 m"', "'2.1 m'"),
        ("[2.1, 2.2]", "[2.1, 2.2]"),
        ("None", "None"),
        ("True", "True"),
    ],
)
def test_what_a_width_may_not_be_is_told_with_file_and_function(
    tmp_path: Path, given: str, shown: str
) -> None:
    code = WIDTH.replace("0.4 * strip.span", f"{given}\n    return 0.4 * strip.span")
    told = f"office.py: width, sagging of strips 1, gave {shown}: allowed is one number above 0"
    with pytest.raises(OwnError, match=re.escape(told)):
        hands(tmp_path, code)


def test_a_function_that_fails_is_told_with_its_line(tmp_path: Path) -> None:
    code = WIDTH.replace("0.4 * strip.span", "1 / 0")
    told = "office.py: width, sagging of strips 1, raised ZeroDivisionError: division by zero"
    with pytest.raises(OwnError, match=re.escape(f"{told} (line 6)")):
        hands(tmp_path, code)


def test_sides_of_a_wheel_are_two_lengths(tmp_path: Path) -> None:
    code = WIDTH.replace("sagging=width", "patch=lambda strip: (0.3, -0.1), sagging=width")
    with pytest.raises(OwnError, match=r"patch of strips 1, gave \(0.3, -0.1\): .* two lengths"):
        hands(tmp_path, code)


def test_what_is_outside_its_range_is_told_beside_the_others(tmp_path: Path) -> None:
    code = WIDTH.replace("return", 'raise MethodRangeError("spans to 2 m")\n    return')
    code = code.replace("import OwnStrip", "import MethodRangeError, OwnStrip")
    found = by(hands(tmp_path, code), "sagging", "C1", "C2")
    assert found["office rule"].value is None
    assert found["office rule"].reason == "spans to 2 m"
    assert found["DAfStb Heft 240"].value is not None


@pytest.mark.slow
def test_of_a_watched_deck_the_strips_alone_are_found_again(tmp_path: Path) -> None:
    path, file = written(tmp_path, WIDTH)
    kept, widths = Kept(), []
    for share in ("0.4", "0.5"):
        file.write_text(WIDTH.replace("0.4", share), encoding="utf-8")
        result = analyse(read_deck(path, own=[file]), kept=kept, tolerances_wanted=False)
        rows = [one for one in result.findings if one.hand.strip == "office rule"]
        widths.append(next(one.hand.width for one in rows if one.section.kind == "sagging"))
    assert widths[1] > widths[0]
    assert {"hand strips", "strips and findings"} <= set(kept.again)
    assert {"mesh and stiffness", "load positions", "envelopes"} <= set(kept.unchanged)
