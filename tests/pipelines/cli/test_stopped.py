"""Ctrl-C: one line and exit status 130, wherever it comes, while modules are imported too. The end
of a process: no cycles are looked for any more.
"""

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[3]
DECK = ROOT / "pipelines" / "deck" / "starters" / "truss.toml"
# Ctrl-C in the moment when a module of that name is looked for; within `exec`, after which Python
# itself would die of the signal however it was met.
CODE = """
import sys
at = sys.argv.pop(1)
class Stop:
    def find_spec(self, name, path=None, target=None):
        if name == at:
            exec("raise KeyboardInterrupt")
sys.meta_path.insert(0, Stop())
from pipelines.__main__ import main
sys.exit(main())
"""


@pytest.mark.parametrize(
    ("module", "command"),
    [
        ("pipelines.cli.main", ["vehicles"]),
        ("pipelines.cli.study", ["vehicles"]),
        ("argparse", ["-h"]),
        ("numpy", ["check", str(DECK)]),
        ("scipy.linalg", ["run", str(DECK), "--out", "out"]),
        ("pipelines.analysis.analyse", ["run", str(DECK), "--out", "out"]),
    ],
)
def test_ctrl_c_on_an_import(module: str, command: list[str], tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-c", CODE, module, *command],
        env=os.environ | {"PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        cwd=tmp_path,
        check=False,
    )
    assert done.stderr == "deckslab: stopped\n"
    assert done.returncode == 130


# What is still there when the process ends: a function that was registered first is called last.
LAST = """
import atexit, gc
before = [[] for _ in range(1000)]
atexit.register(lambda: print(gc.get_freeze_count() > len(before)))
from pipelines.__main__ import collect_seldom
collect_seldom()
"""


def test_at_the_end_nothing_is_gone_through_for_cycles() -> None:
    done = subprocess.run(
        [sys.executable, "-c", LAST],
        env=os.environ | {"PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stdout == "True\n"
