"""By construction the program does the same on any system: text is UTF-8 wherever it is read."""

import ast
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
MAIN = "import sys; from pipelines.cli.main import main; sys.exit(main())"
SOURCES = [p for top in ("plate", "pipelines") for p in sorted((ROOT / top).rglob("*.py"))]


def calls(path: Path) -> Iterator[tuple[str, ast.Call]]:
    """Names of the functions and methods that a file calls, with the calls."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Call):
            name = node.func.attr if isinstance(node.func, ast.Attribute) else ""
            yield (node.func.id if isinstance(node.func, ast.Name) else name), node


@pytest.mark.parametrize("path", SOURCES, ids=lambda p: str(p.relative_to(ROOT)))
def test_text_is_read_and_written_with_its_encoding(path: Path) -> None:
    for name, call in calls(path):
        method = isinstance(call.func, ast.Attribute)
        if (method and name in ("read_text", "write_text")) or (not method and name == "open"):
            modes = [a.value for a in call.args if isinstance(a, ast.Constant)]
            text = not any(isinstance(m, str) and "b" in m and len(m) < 4 for m in modes)
            assert not text or any(k.arg == "encoding" for k in call.keywords), call.lineno


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
