"""By construction the program does the same on any system: text is UTF-8 wherever it is read, and
nothing is used that only some systems have."""

import ast
import os
import subprocess
import sys
from pathlib import Path

import pytest

from pipelines.system.outputs import read_whole
from tests.pipelines.small_decks import BEAMS, PLAN, PROBES, SLAB

COARSE = "[mesh]\nsize_m = 1.5\norder = 2\n"
ROOT = Path(__file__).parent.parent
# What some systems lack: modules, and functions of `os`.
UNIX_MODULES = ("fcntl", "resource", "pwd", "grp", "termios", "syslog", "pty", "tty")
UNIX_FUNCTIONS = ("symlink", "link", "fork", "forkpty", "sched_getaffinity", "sysconf", "getuid",
                  "geteuid", "getpgid", "mkfifo", "chown")  # fmt: skip
MAIN = "import sys; from pipelines.cli.main import main; sys.exit(main())"
SOURCES = [p for top in ("plate", "pipelines") for p in sorted((ROOT / top).rglob("*.py"))]


def names_its_encoding(call: ast.Call) -> bool:
    """Whether a call reads and writes no text but with its encoding."""
    method = isinstance(call.func, ast.Attribute)
    name = call.func.attr if isinstance(call.func, ast.Attribute) else ""
    name = call.func.id if isinstance(call.func, ast.Name) else name
    if not ((method and name in ("read_text", "write_text")) or (not method and name == "open")):
        return True
    modes = [a.value for a in call.args if isinstance(a, ast.Constant)]
    text = not any(isinstance(m, str) and "b" in m and len(m) < 4 for m in modes)
    return not text or any(k.arg == "encoding" for k in call.keywords)


@pytest.mark.parametrize("path", SOURCES, ids=lambda p: str(p.relative_to(ROOT)))
def test_a_source_does_the_same_on_any_system(path: Path) -> None:
    """Text is read and written with its encoding; nothing is used that only some systems have."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Call):
            assert names_its_encoding(node), node.lineno
        elif isinstance(node, ast.Import | ast.ImportFrom):
            names = {alias.name for alias in node.names} | {getattr(node, "module", "")}
            assert not names & set(UNIX_MODULES), node.lineno
        elif isinstance(node, ast.Attribute):
            # Links of older versions are read, none is made.
            assert node.attr not in (*UNIX_FUNCTIONS, "symlink_to", "hardlink_to"), node.lineno


@pytest.mark.parametrize(
    "locale",
    [{"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"}, {"PYTHONIOENCODING": "cp437"}],
)
def test_consoles_that_are_not_utf8(locale: dict[str, str], tmp_path: Path) -> None:
    """What they cannot print is replaced; files are the same."""
    command = [sys.executable, "-c", MAIN, "vehicles", "--out"]
    pages = []
    for name, environment in (("plain.html", {"PYTHONUTF8": "1"}), ("other.html", locale)):
        run = subprocess.run(
            [*command, str(tmp_path / name)],
            env=os.environ | environment,
            cwd=ROOT,
            capture_output=True,
            check=False,
        )
        assert run.returncode == 0, run.stderr.decode(errors="replace")
        pages.append((tmp_path / name).read_bytes())
    assert pages[0] == pages[1]


# Without all those, then the command line. The library that asks the system for processors and
# memory comes first: it has a module for each system, and that for this one may use them.
ELSEWHERE = f"""
import os, sys
import psutil
for name in {UNIX_MODULES}:
    sys.modules[name] = None
for name in {UNIX_FUNCTIONS}:
    if hasattr(os, name):
        delattr(os, name)
try:
    import fcntl
except ImportError:
    from pipelines.cli.main import main
    sys.exit(main())
"""


@pytest.mark.parametrize(
    ("command", "kind", "names"),
    [
        (
            "run",
            "results",
            {"report.html", "summary.json", "findings.csv", "values.csv", "fields.vtu"},
        ),
        ("draw", "drawings", {"plan.svg", "section.svg", "section-along.svg"}),
    ],
)
def test_a_deck_on_a_system_without_what_only_some_have(
    tmp_path: Path, command: str, kind: str, names: set[str]
) -> None:
    deck = tmp_path / "deck, größer.toml"
    deck.write_text(SLAB + PLAN + BEAMS + PROBES + COARSE, encoding="utf-8")
    out = tmp_path / "with spaces" / "and é ß 桥"
    out.mkdir(parents=True)
    for name in names:  # to be replaced
        (out / name).write_text("old", encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-c", ELSEWHERE, command, str(deck), "--out", str(out)],
        env=os.environ | {"PYTHONPATH": str(ROOT), "PYTHONUTF8": "1"},
        capture_output=True,
        encoding="utf-8",
    )
    assert done.returncode == 0, done.stderr
    assert {path.name for path in out.iterdir()} == names | {f"{kind}.files.json"}
    assert all(path.is_file() and not path.is_symlink() for path in out.iterdir())
    found = read_whole(out, kind, sorted(names))
    assert found.keys() == names
    assert b"old" not in found.values()


HEAVY = ("numpy", "scipy", "matplotlib", "ezdxf", "shapely", "pydantic", "meshio", "pyarrow",
         "PIL", "rich", "psutil")  # fmt: skip
LOADED = f"print([name for name in {HEAVY} if name in sys.modules])"


def loaded(code: str, *arguments: str) -> list[str]:
    """The last line of what a piece of code prints: of heavy packages, those that were imported."""
    done = subprocess.run(
        [sys.executable, "-c", f"import sys\n{code}\n{LOADED}", *arguments],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    )
    found = ast.literal_eval(done.stdout.splitlines()[-1])
    assert isinstance(found, list)
    return found


def test_the_command_line_is_there_before_anything_is_imported() -> None:
    assert loaded("from pipelines.cli.main import command_line; command_line()") == []


def test_the_package_is_a_command() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "pipelines", "--version"], cwd=ROOT, capture_output=True, text=True
    )
    assert (done.returncode, done.stdout.split()[0]) == (0, "deckslab")


def test_a_mistake_is_told_before_anything_that_computes_or_draws_is_imported(
    tmp_path: Path,
) -> None:
    deck = tmp_path / "deck.toml"
    deck.write_text("[slab]\nthicknes_mm = 250\n", encoding="utf-8")
    for command in ("run", "draw"):
        code = "from pipelines.cli.main import main; assert main() == 2"
        found = loaded(code, command, str(deck), "--out", str(tmp_path / "out"))
        assert not set(found) & {"scipy", "matplotlib", "ezdxf", "meshio", "pyarrow", "PIL"}


def test_nothing_that_draws_is_imported_for_an_analysis() -> None:
    found = loaded("import pipelines.analysis.analyse")
    assert not set(found) & {"matplotlib", "ezdxf", "meshio", "pyarrow", "PIL", "rich"}


def test_nothing_is_drawn_with_a_library_of_figures(tmp_path: Path) -> None:
    """All that a run draws with is imported and a model drawn where matplotlib is missing."""
    code = (
        "import sys; sys.modules['matplotlib'] = None; "
        "import pipelines.report.report, pipelines.report.html, pipelines.study.fit.figures, "
        "pipelines.report.space.views, pipelines.report.drawings.bars_dxf; "
        "from pipelines.cli.main import main; assert main() == 0"
    )
    assert "scipy" in loaded(code, "draw", "skew", "--out", str(tmp_path / "out"))
    assert (tmp_path / "out" / "plan.svg").exists()
