"""Notebooks to start from, written as text: what stands in blocks of Python becomes a cell of code,
what stands between them a cell of words. Their data are invented."""

import json
import re
from pathlib import Path
from typing import Any

FOLDER = Path(__file__).parent
NOTEBOOKS = {
    "notebook-hour": "strip against plate in an hour, as a notebook",
    "notebook-vehicle": "a new vehicle, as a notebook",
    "notebook-widths": "a study of widths and its fit, as a notebook",
    "notebook-loadtest": "a load test with stiffnesses found from it, as a notebook",
}
_CODE = re.compile(r"^```python\n(.*?)^```\n", re.MULTILINE | re.DOTALL)


def notebook_starter(kind: str) -> str:
    """The notebook of a kind as a file of Jupyter's format 4."""
    name = kind.removeprefix("notebook-")
    parts = _CODE.split((FOLDER / f"{name}.md").read_text(encoding="utf-8"))
    cells = [
        _cell(k, text.strip("\n"), code=k % 2 == 1) for k, text in enumerate(parts) if text.strip()
    ]
    kernel = {"name": "python3", "display_name": "Python 3", "language": "python"}
    book = {"nbformat": 4, "nbformat_minor": 5, "metadata": {"kernelspec": kernel}, "cells": cells}
    return json.dumps(book, indent=1, ensure_ascii=False) + "\n"


def _cell(number: int, text: str, *, code: bool) -> dict[str, Any]:
    cell: dict[str, Any] = {
        "cell_type": "code" if code else "markdown",
        "id": f"cell-{number}",
        "metadata": {},
        "source": text,
    }
    return cell | ({"outputs": [], "execution_count": None} if code else {})
