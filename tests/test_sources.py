"""Sources are prints: a standard, a book or a paper, never an address or hearsay."""

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
# Names of vocabularies, which are no places to read at.
NAMES = ("http://www.w3.org/", "https://json-schema.org/draft/")
NO_SOURCE = re.compile(
    r"\bpublic (?:summary|draft)\b|\bas quoted\b|\bquoted in\b|\bforum\b|\bscribd\b|\breprint\b"
    r"|\bdesign sheet\b|\bliterature\"",
    re.IGNORECASE,
)
FILES = sorted(
    path
    for folder in ("pipelines", "plate", "tests", "benchmarks")
    for path in (ROOT / folder).rglob("*")
    if path.suffix in (".py", ".toml", ".js", ".css", ".html", ".typ", ".md")
    and path != Path(__file__)
)


@pytest.mark.parametrize("folder", ["pipelines", "plate", "tests", "benchmarks"])
def test_no_address_and_no_hearsay_is_a_source(folder: str) -> None:
    files = [path for path in FILES if path.is_relative_to(ROOT / folder)]
    assert files
    for path in files:
        text = path.read_text(encoding="utf-8")
        addresses = re.findall(r"https?://[^\s\"'`)>]*|\bwww\.[a-z]", text)
        assert not [a for a in addresses if not a.startswith(NAMES)], path
        assert not NO_SOURCE.findall(text), path
