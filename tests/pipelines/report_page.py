"""The report and parts of it as HTML, for tests that read what is printed."""

from collections.abc import Iterable
from html.parser import HTMLParser
from typing import Any

from pipelines.analysis.result import Result
from pipelines.report.data.summary import summary
from pipelines.report.document import Block, Document
from pipelines.report.html import html_of
from pipelines.run import report_of

# Elements that have no end in HTML.
VOID = {"meta", "br", "input"}


def report_page(result: Result) -> str:
    """The whole report."""
    return html_of(report_of(result, summary(result)))


def page_of(blocks: Iterable[Block]) -> str:
    """A page with these blocks alone, without its head."""
    page = html_of(Document(title="", lead="", front=tuple(blocks), sections=(), end=""))
    return page[page.index("<body>") :]


class Reader(HTMLParser):
    """Words of each element of the body in order, with its tag; tags must be balanced."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.found: list[tuple[str, str]] = []
        self.feed(html)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: Any) -> None:
        if tag not in VOID:
            self.open.append(tag)
        self.found.append((tag, ""))

    def handle_startendtag(self, tag: str, attrs: Any) -> None:
        self.found.append((tag, ""))

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        tag = self.open[-1] if self.open else ""
        if self.found and self.found[-1][0] == tag:
            data = self.found.pop()[1] + data
        self.found.append((tag, data))

    def words(self, tag: str) -> list[str]:
        return [words for one, words in self.found if one == tag and words.strip()]
