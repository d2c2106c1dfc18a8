"""The report: stands alone, is complete, says what practice asks for, and is written whole."""

import csv
import hashlib
import json
import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from threadpoolctl import threadpool_limits

from pipelines.analysis.analyse import analyse
from pipelines.analysis.result import Result
from pipelines.envelopes.peaks import governing_values, that_count
from pipelines.findings.finding import CAUTION
from pipelines.numbers import as_result, number
from pipelines.report.data.summary import summary
from pipelines.report.data.values_csv import values_table, write_values
from pipelines.report.document import RECORD, Document
from pipelines.report.html import html_of
from pipelines.report.pdf import pdf_of, typst_of
from pipelines.report.sections.tables import over_width_words, tolerance
from pipelines.run import report_of, write_results
from pipelines.units import RESULT_KEYS
from tests.helpers import blas_threads
from tests.pipelines.fake_findings import fake
from tests.pipelines.report_page import Reader, report_page
from tests.pipelines.small_decks import BEAMS, MESH, PLAN, PROBES, SLAB, TRAFFIC, deck_of

CURVED = PLAN.replace("overhang_m", "radius_m = 20\noverhang_m")


@pytest.fixture(scope="module")
def result(small_result: Result) -> Result:
    return small_result


@pytest.fixture(scope="module")
def document(result: Result) -> Document:
    return report_of(result, summary(result))


@pytest.fixture(scope="module")
def html(document: Document) -> str:
    return html_of(document)


@pytest.fixture(scope="module")
def bare(result: Result) -> Result:
    """Without anything that takes long to draw."""
    return replace(result, traffic=(), cases={})


class Page(HTMLParser):
    """Tags with their attributes, and the text of every table's rows."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str]]] = []
        self.tables: dict[str, list[list[str]]] = {}
        self._caption = False
        self._cell = False
        self._table: list[list[str]] = []
        self._name = ""
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: Any) -> None:
        self.tags.append((tag, {k: v or "" for k, v in attrs}))
        if tag == "table":
            self._table, self._name = [], ""
        elif tag == "caption":
            self._caption = True
        elif tag == "tr":
            self._table.append([])
        elif tag in ("td", "th"):
            self._table[-1].append("")
            self._cell = True
        elif tag == "br" and self._cell:
            self._table[-1][-1] += "; "

    def handle_endtag(self, tag: str) -> None:
        if tag == "caption":
            self._caption = False
        elif tag in ("td", "th"):
            self._cell = False
        elif tag == "table":
            self.tables[self._name] = self._table

    def handle_data(self, data: str) -> None:
        if self._caption:
            self._name += data
        elif self._cell:
            self._table[-1][-1] += data

    def rows(self, start: str) -> list[list[str]]:
        """Rows of the table whose caption starts so."""
        [name] = [n for n in self.tables if n.startswith(start)]
        return self.tables[name]


def test_it_refers_to_nothing_outside_itself(html: str) -> None:
    page = Page(html)
    ids = [a["id"] for _, a in page.tags if "id" in a]
    assert len(ids) == len(set(ids))
    for tag, attributes in page.tags:
        assert tag not in ("link", "img", "iframe", "object", "base")
        for key, value in attributes.items():
            if key in ("href", "xlink:href", "src"):
                assert value.startswith("#")
                assert value[1:] in ids
    assert set(re.findall(r"url\((.)", html)) <= {"#"}
    assert "@import" not in html
    outside = set(re.findall(r"https?://[^\s\"'<]+", html))
    assert outside == {"http://www.w3.org/2000/svg"}


def test_every_tag_is_closed(html: str) -> None:
    words = Reader(html).words("h2")
    assert words[-1] == RECORD
    assert len(words) == 8


def test_it_is_printed_with_all_its_sections(document: Document, tmp_path: Path) -> None:
    typst = pytest.importorskip("typst")
    assert pdf_of(document).startswith(b"%PDF")
    source, drawings = typst_of(document)
    (tmp_path / "report.typ").write_text(source, encoding="utf-8")
    for name, drawing in drawings.items():
        (tmp_path / name).write_text(drawing.svg, encoding="utf-8")
    query = "heading.where(level: 2)"
    told = json.loads(typst.query(str(tmp_path / "report.typ"), query, field="body"))
    shown = (*document.shown, *document.recorded)
    titles = [one.title for one in shown if one.name != "explore"]
    assert ["".join(c["text"] for c in _parts(body)) for body in told] == titles
    # Drawings are told their own size.
    assert len(drawings) >= 17
    for one in drawings.values():
        view = re.search(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', one.svg)
        assert view is not None
        np.testing.assert_allclose([float(v) for v in view.groups()], [one.width, one.height])


def test_whoever_signs_has_at_most_eight_pages(document: Document, tmp_path: Path) -> None:
    typst = pytest.importorskip("typst")
    source, drawings = typst_of(document)
    (tmp_path / "report.typ").write_text(source, encoding="utf-8")
    for name, drawing in drawings.items():
        (tmp_path / name).write_text(drawing.svg, encoding="utf-8")
    told = typst.query(str(tmp_path / "report.typ"), "<record-begins>", field="value")
    assert 2 <= json.loads(told)[0] <= 9


def test_the_record_is_folded_on_a_screen_and_whole_in_print(document: Document, html: str) -> None:
    folded = re.findall(r'<details class="record" id="([^"]*)">', html)
    assert folded == [section.name for section in document.recorded]
    assert "strips" in folded
    assert html.index('id="not-covered"') < html.index(folded[0])
    # Browsers that print what is folded, and the others.
    assert "details.record::details-content { content-visibility: visible;" in html
    assert "beforeprint" in html


def _parts(body: dict[str, Any]) -> list[dict[str, Any]]:
    return list(body.get("children", [body]))


def test_references_go_to_the_whole_table(html: str) -> None:
    finding = html[html.index('id="finding"') : html.index('id="governing"')]
    links = re.findall(r'<a href="#(finding-F\d+)">', finding)
    assert links
    for name in links:
        assert html.count(f'id="{name}"') == 1
    # Nor does running text or the table of effects name one that cannot be gone to.
    told = " ".join(re.findall(r"<(?:p|tr)>(.*?)</(?:p|tr)>", finding, re.DOTALL))
    assert re.search(r">F\d+</a>", told)
    assert not re.search(r"\bF\d+\b", re.sub(r"<a href.*?</a>", "", told))


def test_it_can_be_read_without_seeing_it(html: str) -> None:
    page = Page(html)
    assert [a for t, a in page.tags if t == "html"] == [{"lang": "en"}]
    drawings = [a for t, a in page.tags if t == "svg"]
    assert len(drawings) >= 17
    # The two that a script fills get their words from it; a browser's test reads them.
    fixed = [a for a in drawings if a.get("id") not in ("x-over", "x-profile")]
    assert len(fixed) == len(drawings) - 2
    assert all(a.get("role") == "img" and len(a.get("aria-label", "")) > 10 for a in fixed)
    heads = [a for t, a in page.tags if t == "th"]
    assert all(a.get("scope") in ("col", "row") for a in heads)
    assert len([t for t, _ in page.tags if t == "h1"]) == 1
    assert len([t for t, _ in page.tags if t == "caption"]) == len(page.tables)


def test_sections_come_in_the_order_of_practice(html: str) -> None:
    names = re.findall(r'<(?:section|details class="record") id="([^"]*)"', html)
    order = [
        "finding", "input", "governing", "comparison", "assumptions", "not-covered", "explore",
        "actions", "model", "equilibrium", "envelopes", "cases", "lines", "strips", "widths",
        "reconciliation", "probes", "reactions", "beams", "source",
    ]  # fmt: skip
    assert [name for name in names if name in order] == order
    assert len(names) == len(set(names))
    finding = html[html.index('id="finding"') : html.index('id="governing"')]
    assert "for a qualified engineer to verify" in finding
    assert "not a standard's load model" in finding.replace("&#x27;", "'")


def test_governing_values_are_those_of_the_envelopes(result: Result, html: str) -> None:
    rows = Page(html).rows("lorry alone: governing values")[1:]
    expected = result.governing
    assert len(rows) == len(expected) == 12
    for row, one in zip(rows, expected, strict=True):
        assert row[0].replace("_", "") == one.result.replace("_", "")
        assert row[1] == one.extreme
        value = f"{number(one.value)}{tolerance(one.error)} {one.unit}"
        assert row[2] == value + over_width_words(one)
        assert one.position is not None
        assert one.position.single is not None
        assert one.position.single.vehicle in row[4]
        # What coexists at the place itself is the value itself.
        k = [key.removesuffix("_mm") for key in RESULT_KEYS].index(one.result)
        assert row[5 + k] == as_result(one.value)


def test_shears_beside_lines_are_no_peaks_and_stand_in_brackets(result: Result, html: str) -> None:
    plan = result.solved.recovery.points.plan
    clear = result.solved.clear_of_lines
    rows = Page(html).rows("lorry alone: governing values")[1:]
    assert result.leading is not None
    governing = that_count(governing_values(result.solved, result.leading.envelope))
    bracketed = 0
    for row, one in zip(rows, governing, strict=True):
        here = bool(clear[np.all(plan == np.array(one.at), axis=1)].any())
        assert all(cell.startswith("(") != here for cell in row[9:11])
        bracketed += not here
        if one.result.startswith("q"):
            assert here
    assert 0 < bracketed < len(rows)


@pytest.mark.parametrize("component", ["m_x", "m_y", "m_xy", "q_x", "q_y"])
@pytest.mark.parametrize("extreme", ["max", "min"])
def test_every_envelope_has_its_plan(html: str, component: str, extreme: str) -> None:
    [drawing] = re.findall(
        rf'<figure id="envelope-{component}-{extreme}-1">(.*?)</figure>', html, flags=re.DOTALL
    )
    unit = "kN/m" if component.startswith("q") else "kNm/m"
    assert f"[{unit}]" in re.sub("<[^>]*>", "", drawing[: drawing.index("<figcaption")])
    assert "first axle at" in drawing


def test_tables_hold_the_summary(result: Result, html: str) -> None:
    page = Page(html)
    reactions = page.rows(
        "Reactions [kN], upward on the slab positive (a negative value is uplift): static"
    )
    total = summary(result)["reactions"]["weight"]["total_kN"]
    assert reactions[-1][:2] == ["all together", number(total)]
    [row] = [r for r in reactions if "C2" in r[0] and " at " not in r[0]]
    assert row[1] == number(summary(result)["reactions"]["weight"]["C2"])
    [equilibrium] = page.rows("Equilibrium")[1:]
    assert equilibrium[1] == equilibrium[2] == number(total)
    probes = page.rows("Asked for by name: static cases")
    [bay] = [r for r in probes if r[0] == "bay 1"]
    m_x = summary(result)["probes"]["bay 1"]["cases"]["weight"]["m_x"]
    error = summary(result)["probes"]["bay 1"]["cases"]["weight"]["error"]["m_x"]
    assert bay[3] == number(m_x) + tolerance(error)
    assert tolerance(error).startswith(" ± ")
    traffic = page.rows("Asked for by name: lorry alone")
    entry = summary(result)["probes"]["bay 1"]["envelope"]["m_x"]["max"]
    [envelope] = [r for r in traffic if r[0] == "bay 1" and r[1].startswith("mx [")]
    assert envelope[2] == number(entry["value"]) + tolerance(entry["error"])
    assert entry["vehicle"] in envelope[3]
    beams = page.rows("Beam moments and shears: lorry")
    [beam] = [r for r in beams if "C2" in r[0] and r[1].startswith("moment")]
    moment = summary(result)["beam_envelopes"]["C2"]["moment_kNm"]["max"]
    assert beam[2] == number(moment["value"]) + tolerance(moment["error"])


def test_the_table_of_values_holds_the_summary(result: Result, tmp_path: Path) -> None:
    entries = summary(result)
    write_values(tmp_path / "values.csv", result, entries)
    with (tmp_path / "values.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    keys = ("kind", "name", "load", "result", "extreme")
    told = {tuple(row[key] for key in keys): row for row in rows}
    assert len(told) == len(rows)
    assert all(row["caution"] for row in rows)

    def value(*key: str) -> float:
        return float(told[key]["value"])

    of_bay = entries["probes"]["bay 1"]
    assert value("by name", "bay 1", "weight", "m_x", "") == pytest.approx(
        of_bay["cases"]["weight"]["m_x"], rel=1e-5
    )
    alone = result.traffic[0].name
    m_x = told["by name", "bay 1", alone, "m_x", "max"]
    entry = of_bay["envelope"]["m_x"]["max"]
    for key in ("value", "error", "error_mesh", "error_step", "theory_difference"):
        assert float(m_x[key]) == pytest.approx(entry[key], rel=1e-5)
    assert m_x["error_step_is"] == entry["error_step_is"]
    assert m_x["load_position"].startswith("lorry ")
    beam = entries["beam_envelopes"]["C2"]["shear_kN"]["min"]
    assert value("beam", "C2", alone, "shear", "min") == pytest.approx(beam["value"], rel=1e-5)
    reaction = entries["reactions"]["weight"]["total_kN"]
    assert value("reaction", "all together", "weight", "reaction", "") == pytest.approx(
        reaction, rel=1e-5
    )
    for peak in result.governing:
        row = told["governing", "", alone, peak.result, peak.extreme]
        assert float(row["value"]) == pytest.approx(peak.value, rel=1e-5)
        assert row["unit"] == peak.unit
        assert (float(row["station_m"]), float(row["offset_m"])) == pytest.approx(peak.at)


@pytest.mark.slow
def test_of_several_traffics_the_one_that_makes_most_is_listed_and_drawn(tmp_path: Path) -> None:
    """Every case is in values.csv; the report has each largest and smallest value of these."""
    more = TRAFFIC.replace("[traffic]", '[traffic]\nload_models = ["EN 1991-2 LM2"]', 1)
    result = analyse(deck_of(tmp_path, SLAB, PLAN, BEAMS, more, PROBES, MESH))
    assert len(result.traffic) == 2
    rows = list(values_table(result, summary(result)))
    page = Page(report_page(result))
    listed = page.rows("Asked for by name: under the traffic that makes most")[1:]
    of_bay = [row for row in rows if row["kind"] == "by name" and row["name"] == "bay 1"]
    for row, key in zip([r for r in listed if r[0] == "bay 1"], RESULT_KEYS, strict=True):
        short = key.removesuffix("_mm")
        for cell, words, extreme, pick in ((2, 3, "max", max), (4, 5, "min", min)):
            there = [
                one for one in of_bay if (one["result"], one.get("extreme")) == (short, extreme)
            ]
            assert len(there) == 2
            most = pick(there, key=lambda one: float(one["value"]))
            assert row[cell].split(" ")[0] == as_result(most["value"])
            assert ("LM2" in row[words]) == ("LM2" in most["load"])
    html = report_page(result)
    # What only a screen shows is a link there and words in print.
    assert 'href="#explore">the part that is looked at by hand' in html
    assert pdf_of(report_of(result, summary(result)))[:4] == b"%PDF"
    for key in ("m_x-max", "m_y-min", "q_x-max"):
        name, _, extreme = key.partition("-")
        governing = [p for case in result.traffic for p in case.governing if p.result == name]
        peaks = [p.value for p in governing if p.extreme == extreme]
        nth = 1 + peaks.index((max if extreme == "max" else min)(peaks))
        assert re.findall(rf'<figure id="envelope-{key}-(\d)"', html) == [str(nth)]


def test_the_deck_file_is_named_with_its_digest(result: Result, html: str) -> None:
    digest = hashlib.sha256(Path(result.deck.path).read_bytes()).hexdigest()
    rows = dict(r for r in Page(html).rows("Program and input") if len(r) == 2)
    assert rows["sha256 of the deck file"] == digest
    assert rows["Deck file"] == "deck.toml"


def test_the_same_run_gives_the_same_report(result: Result, html: str) -> None:
    assert report_page(result) == html


def test_files_are_made_with_one_thread_in_each_product(
    bare: Result, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A second one, which waits for the next product, takes a processor and gives nothing."""
    seen: list[int] = []

    def looked(document: Document) -> str:
        seen.append(blas_threads())
        return html_of(document)

    monkeypatch.setattr("pipelines.report.html.html_of", looked)
    with threadpool_limits(2, user_api="blas"):
        write_results(bare, tmp_path)
        assert blas_threads() == 2
    assert seen == [1]


def test_no_findings_gives_the_reason(bare: Result) -> None:
    html = report_page(replace(bare, findings=(), no_findings="there is <no> strip"))
    assert html.count("there is &lt;no&gt; strip") == 2
    assert "comparisons, worst first" not in html


def test_findings_are_listed_as_a_checker_reads_them(bare: Result) -> None:
    rows = (
        fake(0.8),
        fake(1.3, reference="F2", hand_strip="second method"),
        fake(-0.4, reference="F3", hand_strip="third method"),
        fake(None, reference="F4", hand_strip="fourth method", hand_reason="span <too> long"),
    )
    page = Page(report_page(replace(bare, findings=rows)))
    tables = [t for t in page.tables.values() if t and t[0] and t[0][0] == "Ref."]
    assert tables
    listed = {row[0]: " | ".join(row) for table in tables for row in table[1:]}
    assert "strip short by 20 %" in listed["F1"].replace("\u00a0", " ")
    assert "16.0" in listed["F1"]
    assert "0.800" in listed["F1"]
    assert "clause <9>" in listed["F1"]
    for row in listed.values():
        assert CAUTION in row or "outside the method's range" in row


def test_what_the_user_wrote_cannot_become_markup(bare: Result) -> None:
    deck = replace(bare.deck, title='<script>alert(1)</script> & "more"')
    html = report_page(replace(bare, deck=deck))
    assert "<script>alert" not in html
    assert "&lt;script&gt;alert(1)&lt;/script&gt; &amp; &quot;more&quot;" in html


def test_a_curved_deck_without_traffic_has_plans_of_its_cases(tmp_path: Path) -> None:
    deck = deck_of(tmp_path, SLAB, CURVED, BEAMS, PROBES, MESH)
    html = report_page(analyse(deck))
    names = re.findall(r'<section id="([^"]*)"', html)
    assert "envelopes" not in names
    assert "governing" not in names
    for component in ("w", "m_x", "m_y", "m_xy", "q_x", "q_y"):
        assert f'<figure id="plan-case-1-{component}">' in html
    assert "the deck file has no traffic" in html
    assert "The deck is curved" in html
