"""Imports run one way: down the order of the rooms, from `pipelines` to `plate`, never back."""

import ast
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
OURS = ("plate", "pipelines", "tests", "benchmarks")

# Each room, or module beside the rooms, may import what stands above it.
ROOMS = (
    *(
        f"plate/{room}"
        for room in (
            "arrays",
            "conventions",
            "errors",
            "threads",
            "interpolation",
            "geometry",
            "meshing",
            "elements",
            "loads",
            "model",
            "solver",
            "results",
            "device",
            "exact",
            "plastic",
            "verification",
        )
    ),
    *(
        f"pipelines/{room}"
        for room in (
            "caution",
            "errors",
            "units",
            "numbers",
            "system",
            "standards",
            "deck",
            "traffic",
            "model",
            "loadtest",
            "envelopes",
            "accuracy",
            "strips",
            "findings",
            "bars",
            "analysis",
            "report",
            "run",
            "api",
            "inspection",
            "bar_design",
            "study",
            "cli",
            "__main__",
        )
    ),
)
# The same inside rooms of rooms.
INNER = {
    "pipelines/standards": (
        "sources",
        "factors",
        "concrete",
        "materials",
        "supports",
        "arching",
        "cores",
        "actions",
        "resistance",
        "detailing",
        "strip_widths",
        "own",
    ),
    "pipelines/bars": (
        "drawn_parts",
        "cracked",
        "demand",
        "adequacy",
        "checks",
        "design",
        "schedule",
        "verdicts",
        "collapse",
        "choice",
        "inspection",
        "rating",
    ),
    "pipelines/bar_design": (
        "covers",
        "told",
        "designed",
        "looks",
        "known",
        "stepped_down",
        "search",
        "least_change",
        "design",
        "files",
    ),
    "pipelines/report": (
        "document",
        "fonts",
        "drawings",
        "data",
        "sections",
        "explorer",
        "space",
        "html",
        "pdf",
        "again",
        "report",
    ),
}


def module_name(path: Path) -> str:
    name = ".".join(path.relative_to(ROOT).with_suffix("").parts)
    return name.removesuffix(".__init__")


MODULES = {module_name(p): p for top in ("plate", "pipelines") for p in (ROOT / top).rglob("*.py")}


@cache
def imports(path: Path) -> frozenset[str]:
    """The project's modules that a file imports, anywhere in it."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module:
            names = {f"{node.module}.{alias.name}" for alias in node.names}
            found |= {name if name in MODULES else node.module for name in names}
        elif isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
    return frozenset(name for name in found if name.split(".")[0] in OURS)


def place(name: str) -> tuple[int, int]:
    """Of a module among the rooms, and within its room."""
    parts = name.split(".")
    room = "/".join(parts[:2])
    inner = INNER.get(room, ())
    return ROOMS.index(room), inner.index(parts[2]) if len(parts) > 2 and inner else -1


def test_every_room_is_in_the_list_and_there_are_not_many() -> None:
    there = {"/".join(name.split(".")[:2]) for name in MODULES if "." in name}
    assert there == set(ROOMS)
    for top, most in (("plate", 11), ("pipelines", 16)):
        assert len([p for p in (ROOT / top).iterdir() if (p / "__init__.py").is_file()]) <= most


@pytest.mark.parametrize("name", [name for name in MODULES if "." in name])
def test_imports_run_down_the_order_of_the_rooms(name: str) -> None:
    for other in imports(MODULES[name]) - {"plate", "pipelines"}:
        assert other.split(".")[0] in ("plate", "pipelines"), f"{name} imports {other}"
        assert place(other) <= place(name), f"{name} imports {other}"


def is_test(name: str) -> bool:
    return any(part.startswith("test_") for part in name.split("."))


def test_tests_and_benchmarks_import_no_test() -> None:
    """What several tests share stands in modules of its own."""
    files = [path for top in ("tests", "benchmarks") for path in (ROOT / top).rglob("*.py")]
    assert any(is_test(module_name(path)) for path in files)
    found = {path: sorted(filter(is_test, imports(path))) for path in files}
    assert not {str(path): names for path, names in found.items() if names}


def test_imports_have_no_cycle() -> None:
    graph = {name: imports(path) & set(MODULES) - {name} for name, path in MODULES.items()}
    done: set[str] = set()
    while len(done) < len(graph):
        ready = {name for name, needs in graph.items() if name not in done and needs <= done}
        assert ready, f"import cycle among {sorted(set(graph) - done)}"
        done |= ready
