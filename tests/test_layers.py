"""Imports run one way: pipelines may use plate, never the reverse, and none run in a cycle."""

import ast
from pathlib import Path

ROOT = Path(__file__).parent.parent


def imports(path: Path) -> set[str]:
    """Names of the project's modules that a file imports."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module:
            found.add(node.module)
            found |= {f"{node.module}.{alias.name}" for alias in node.names}
        elif isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
    return {name for name in found if name.split(".")[0] in ("plate", "pipelines")}


def module_name(path: Path) -> str:
    name = ".".join(path.relative_to(ROOT).with_suffix("").parts)
    return name.removesuffix(".__init__")


MODULES = {module_name(p): p for top in ("plate", "pipelines") for p in (ROOT / top).rglob("*.py")}


def test_plate_knows_nothing_of_the_job() -> None:
    for name, path in MODULES.items():
        if name.startswith("plate"):
            assert not [i for i in imports(path) if i.startswith("pipelines")], name


def test_imports_have_no_cycle() -> None:
    graph = {name: imports(path) & set(MODULES) - {name} for name, path in MODULES.items()}
    done: set[str] = set()
    while len(done) < len(graph):
        ready = {name for name, needs in graph.items() if name not in done and needs <= done}
        assert ready, f"import cycle among {sorted(set(graph) - done)}"
        done |= ready


def test_tests_and_benchmarks_are_imported_by_nothing() -> None:
    for name, path in MODULES.items():
        text = path.read_text(encoding="utf-8")
        assert "import tests" not in text, name
        assert "from tests" not in text, name
