"""What code of the user's own makes of the values that a deck asks for by name."""

from collections.abc import Mapping
from typing import Any

from pipelines.errors import MethodRangeError
from pipelines.standards.own.code import MARK
from pipelines.standards.own.own import Own
from pipelines.standards.own.results import NamedValues


def own_entries(own: Own, summary: Mapping[str, Any]) -> dict[str, Any]:
    """`own` and `own_results` of summary.json; nothing where the deck names no code."""
    if not own.codes:
        return {}
    at = NamedValues(summary["probes"], summary.get("load_models", {}))
    results: dict[str, Any] = {}
    for one in own.results:
        value, reason = None, ""
        try:
            value = one.value(at)
        except MethodRangeError as error:
            reason = str(error)
        told = {"value": value, "unit": one.unit, "source": one.source, "mark": MARK}
        results[one.name] = told | {"reason": reason}
    codes = [
        {"kind": kind, "name": code.name, "sha256": code.digest, "mark": MARK}
        for kind, code in own.codes
    ]
    return {"own": codes} | ({"own_results": results} if results else {})
