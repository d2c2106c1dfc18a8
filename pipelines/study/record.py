"""What a study writes beside its table: where it comes from, how each row was made, what its
columns mean."""

import platform
from collections.abc import Mapping, Sequence
from hashlib import sha256
from importlib.metadata import version
from importlib.util import find_spec
from typing import Any

from pipelines.caution import CAUTION, TO_VERIFY
from pipelines.deck.reading.json_schema import DIALECT
from pipelines.study.own import distinct, entries
from pipelines.study.plan import Plan
from pipelines.study.spec import ERROR, Study
from pipelines.study.table import Column
from pipelines.study.task import Finished

PACKAGES = ("numpy", "scipy", "pyarrow")
STATUSES = ("done", "above target", "failed", "not computed")


def about(study: Study, plan: Plan) -> dict[str, Any]:
    """Where the table comes from; the same whenever and wherever it is computed."""
    design = study.design
    codes = distinct(row.own for row in plan.rows)
    return ({"own": entries(codes)} if codes else {}) | {
        "title": study.title,
        "caution": CAUTION,
        "licence": study.licence or "none stated",
        "program": plan.program,
        "python": platform.python_version(),
        "packages": {name: version(name) for name in PACKAGES if find_spec(name)},
        "study": study.path.name,
        "study_sha256": sha256(study.path.read_bytes()).hexdigest(),
        "base": study.base_path.name,
        "base_sha256": sha256(study.base_path.read_bytes()).hexdigest(),
        "design": {"kind": design.kind, "rows": len(plan.rows), "seed": design.seed},
        "units": "as in each column's metadata; tolerances are numerical (mesh) only",
    }


def caution_column(rows: int) -> Column:
    """The caution beside every row."""
    return Column("caution", "", "", (TO_VERIFY,) * rows)


def design_columns(study: Study, plan: Plan) -> list[Column]:
    """The parameters of every row."""
    found = [Column("row", "", "", tuple(row.number for row in plan.rows))]
    for one in study.parameters:
        values = tuple(row.values[one.name] for row in plan.rows)
        found.append(Column(one.name, one.unit, "", values))
    return found


def made_columns(study: Study, plan: Plan, finished: Mapping[str, Finished]) -> list[Column]:
    """How every row was made: the deck's hash, the program, where load positions were solved, the
    design with its seed, the command; finished : by key.

    The deck itself is in rows/, in the file of the row's key.
    """
    rows, design = plan.rows, study.design
    n = len(rows)
    hashes = tuple(sha256(r.deck.encode()).hexdigest() if r.key else "" for r in rows)
    devices = tuple(finished[r.key].device if r.key in finished else "" for r in rows)
    sampled = design.rows is not None
    return [
        Column("row", "", "", tuple(r.number for r in rows)),
        Column("deck", "", "", tuple(f"rows/{r.key}.json" if r.key else "" for r in rows)),
        Column("deck_sha256", "", "", hashes),
        Column("program", "", "", (f"deckslab {plan.program}",) * n),
        Column("device", "", "", devices),
        Column("errors_computed", "", "", tuple(r.tolerances for r in rows)),
        Column("design", "", "", (design.kind,) * n),
        Column("seed", "", "", (design.seed if sampled else None,) * n),
        Column("command", "", "", (f"deckslab study {study.path.name} --out DIR",) * n),
        Column("licence", "", "", (study.licence or "none stated",) * n),
        caution_column(n),
    ]


def table_schema(study: Study, columns: Sequence[Column]) -> dict[str, Any]:
    """A row of the table as a JSON schema (2020-12): every column with its unit and meaning, and
    for a response the column with its error."""
    names = {column.name for column in columns}
    properties = {}
    for one in columns:
        told: dict[str, Any] = {"type": _types(one), "description": one.meaning}
        if one.unit:
            told["unit"] = one.unit
        if one.name + ERROR in names:
            told["error"] = one.name + ERROR
        properties[one.name] = told
    properties["status"]["enum"] = list(STATUSES)
    return {
        "$schema": DIALECT,
        "title": study.title,
        "description": f"One row of table.csv, in which an empty cell is null. {CAUTION}",
        "type": "object",
        "properties": properties,
        "required": [one.name for one in columns],
        "additionalProperties": False,
    }


def _types(column: Column) -> list[str]:
    """What the values of a column are in JSON."""
    known = [value for value in column.values if value is not None]
    kinds = {
        "boolean": all(isinstance(v, bool) for v in known),
        "integer": all(isinstance(v, int) and not isinstance(v, bool) for v in known),
        "number": all(isinstance(v, int | float) and not isinstance(v, bool) for v in known),
    }
    if not known:
        return ["number", "string", "boolean", "null"]
    kind = next((name for name, all_are in kinds.items() if all_are), None)
    return [kind, "null"] if kind else ["number", "string", "boolean", "null"]
