"""The front door: a deck file read, changed and analysed, and its results as tables and pictures.

What is here speaks the units of the files, and every name says its own: m, mm, kN, kNm/m, kN/m
(`slab.thickness_mm`, `m_x_max_kNm_m`). The same names stand in deck files, CSV, Parquet and VTU.
The rooms behind compute in SI: whoever goes on to `DeckFile.deck` and `Analysis.result` finds
N, m, Pa and rad there.
"""

from collections.abc import Iterable, Mapping, Sequence
from copy import deepcopy
from dataclasses import dataclass, field
from functools import cached_property
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, Self

from pipelines.analysis.analyse import analyse
from pipelines.analysis.kept import Kept
from pipelines.analysis.result import Result, TrafficResult
from pipelines.analysis.stages import Progress
from pipelines.bars.adequacy import StandardVerdict
from pipelines.deck.deck import Deck
from pipelines.deck.examples import EXAMPLES
from pipelines.deck.reading.deck_file import deck_of
from pipelines.deck.reading.keys import get_key, set_key
from pipelines.deck.reading.toml import read_toml
from pipelines.errors import JobError, MissingError
from pipelines.model.influence import Wanted
from pipelines.report.data import bar_schedule_csv, findings_csv, values_csv
from pipelines.report.data.influence import InfluenceResult, drawing, influence_result
from pipelines.report.data.summary import summary
from pipelines.report.document import Drawing
from pipelines.report.drawings.canvas import sheet
from pipelines.report.drawings.contour_plans import ContourPlans
from pipelines.report.drawings.cuts import field_map
from pipelines.report.sections.fields import case_plan, envelope_drawer, envelope_field
from pipelines.run import report_of, write_results
from pipelines.system.files import write_text
from pipelines.traffic.arrangements import Arrangement
from plate.arrays import Floats
from plate.conventions import RESULTS

if TYPE_CHECKING:
    import pandas
    import xarray

CHECKS = (
    "standard",
    "panel",
    "check",
    "layer",
    "finding",
    "utilisation",
    "place",
    "clause",
    "reason",
)
WORST = ("load", "extreme", "value", "error", "unit", "load_position")
# What the names of fields end with, and the units that it says; a deflection has its unit inside.
_UNITS = {"_kNm_m": "kNm/m", "_kN_m": "kN/m", "w_mm": "mm", "w_mm_max": "mm", "w_mm_min": "mm"}


@dataclass(frozen=True, repr=False)
class DeckFile:
    """A deck as its file says it: tables of keys with their units, which always are a valid deck.

    name : of the file; the drawing and the readings that it names lie beside it. own : Python files
    that may be run where the table [own] names them.

    >>> deck = DeckFile.read("estuary")
    >>> thinner = deck.with_({"slab.thickness_mm": 250, "line.C*.beam.I_cm4": 90000})
    >>> thinner["slab.thickness_mm"]
    250
    """

    tables: Mapping[str, Any]
    name: str = "deck.toml"
    own: Sequence[str | Path] = ()
    deck: Deck = field(init=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "tables", deepcopy(dict(self.tables)))
        object.__setattr__(self, "deck", deck_of(dict(self.tables), self.name, own=self.own))

    @classmethod
    def read(cls, source: str | Path, own: Sequence[str | Path] = ()) -> Self:
        """The deck file of that path, or the packaged example of that name.

        own : Python files that may be run where the deck file names them in [own].

        Raises DeckError, whose `mistakes` have key, value and what is allowed.
        """
        packaged = isinstance(source, str) and source in EXAMPLES and not Path(source).is_file()
        path = EXAMPLES[str(source)] if packaged else Path(source)
        return cls(read_toml(str(path)), str(path), own)

    def __getitem__(self, key: str) -> Any:
        """The value at a dotted key as studies write it: "line.C*.beam.I_cm4" is the inertia of
        the [[line]] whose `on` is "C*". Raises KeyMistake where there is none."""
        return deepcopy(get_key(dict(self.tables), key))

    def with_(self, changes: Mapping[str, Any]) -> Self:
        """The same with other values at dotted keys.

        Raises KeyMistake for a key that leads nowhere and DeckError for a value that is not
        allowed; the deck itself stays as it is.
        """
        tables = deepcopy(dict(self.tables))
        for key, value in changes.items():
            set_key(tables, key, value)
        return type(self)(tables, self.name, self.own)

    def analyse(self, progress: Progress | None = None, *, kept: Kept | None = None) -> "Analysis":
        """The whole analysis, as `deckslab run` makes it; nothing is written.

        progress : called with the stage, what is done and what there is to do. kept : one `Kept`
        given to several analyses computes again only what a change touches.

        Raises PlateError or JobError: what is wrong with the deck, in one message.
        """
        return Analysis(self, analyse(self.deck, progress, kept=kept))

    def influence(
        self,
        component: str,
        at: tuple[float, float],
        to: tuple[float, float] | None = None,
        *,
        side: Literal["before", "after", ""] = "",
        resultant: bool = False,
    ) -> "Influence":
        """Influence surface of a result (w, m_x, m_y, m_xy, q_x, q_y) at a point (station, offset)
        [m], or of its mean or resultant along the segment `to` another one.

        Raises JobError or PlateError where the place is not on the slab.
        """
        _known("component", component, RESULTS)
        if to is None:
            wanted = Wanted(component=component, at=at, side=side)
        else:
            wanted = Wanted(component=component, start=at, end=to, resultant=resultant)
        return Influence(influence_result(self.deck, wanted))

    def write(self, path: str | Path) -> None:
        """Write the deck file; files that it names are looked for beside it there."""
        import tomli_w

        write_text(Path(path), tomli_w.dumps(dict(self.tables)))

    def __repr__(self) -> str:
        return f"<DeckFile {self.name}: {self.deck.title}>"


@dataclass(frozen=True, repr=False, eq=False)
class Analysis:
    """An analysed deck. Tables are pandas DataFrames with the columns of the CSV files.

    result : the finished run in SI units, for what is not here.

    >>> analysis = DeckFile.read("estuary").analyse()
    >>> analysis.values.query("kind == 'governing'")[["result", "extreme", "value", "unit"]]
    """

    file: DeckFile
    result: Result = field(repr=False)

    @cached_property
    def summary(self) -> Mapping[str, Any]:
        """Everything of summary.json."""
        return summary(self.result)

    @cached_property
    def values(self) -> "pandas.DataFrame":
        """Rows of values.csv: governing values, results asked for by name, reactions, beams."""
        return _frame(values_csv.values_table(self.result, self.summary), values_csv.COLUMNS)

    @cached_property
    def findings(self) -> "pandas.DataFrame":
        """Rows of findings.csv: strips beside the plate, section by section."""
        return _frame(findings_csv.findings_table(self.result.findings), findings_csv.COLUMNS)

    @cached_property
    def bars(self) -> "pandas.DataFrame":
        """Rows of bar_schedule.csv; empty without bars."""
        schedule = self.result.schedule
        rows = () if schedule is None else bar_schedule_csv.schedule_table(schedule)
        return _frame(rows, bar_schedule_csv.COLUMNS)

    @cached_property
    def checks(self) -> "pandas.DataFrame":
        """One row a check of the bars by one standard, as drawn and as built."""
        rows = (row for one in self.result.verdicts for row in _checks(one))
        return _frame(rows, CHECKS)

    @property
    def columns(self) -> dict[str, Floats]:
        """Fields at the result points (n_point,) by the names of fields.vtu."""
        return self.result.columns

    @cached_property
    def fields(self) -> "xarray.Dataset":
        """The same as labelled arrays over the dimension `point`, each with its unit, and station
        and offset [m] as coordinates. Names that end with `_position` are numbers for
        `position`."""
        package = _package("xarray", "a labelled array")
        columns = dict(self.columns)
        coordinates = {name: ("point", columns.pop(name)) for name in ("station_m", "offset_m")}
        arrays = {name: ("point", values, _unit(name)) for name, values in columns.items()}
        found: xarray.Dataset = package.Dataset(
            arrays, coordinates, {"title": self.file.deck.title}
        )
        for name in coordinates:
            found[name].attrs["units"] = "m"
        return found

    def position(self, number: float, load: str | None = None) -> str:
        """The load position of a number among `<component>_max_position` in words [m]; load : the
        load model, by default what the report is about."""
        return _stands(self._traffic(load).envelope.position(int(number)))

    def picture(
        self, component: str, extreme: Literal["max", "min"] = "max", load: str | None = None
    ) -> "Picture":
        """Plan of an envelope with what governs, or of a static case of that name.

        load : a load model, a static case, or by default what the report is about.
        """
        k = RESULTS.index(_known("component", component, RESULTS))
        if load in self.result.cases:
            result = self.result
            plans = ContourPlans(
                result.deck, field_map(result.solved), result.solved.clear_of_lines
            )
            return Picture(case_plan(result, plans, str(load), k).drawing)
        case = self._traffic(load)
        found = [p for p in case.governing if (p.component, p.extreme) == (k, extreme)]
        if not found:
            raise JobError(f"{component} {extreme} has no governing value under {case.name}")
        field = envelope_field(case, found[0], component)
        return Picture(envelope_drawer(self.result).plan(field))

    @cached_property
    def pictures(self) -> Mapping[str, "Picture"]:
        """Every drawing of the report by its name: plans of envelopes, cases and findings, widths,
        sections, walks from strip to plate, bars with their utilisation, and so on."""
        figures = report_of(self.result, self.summary).figures
        return {figure.name: Picture(figure.drawing) for figure in figures}

    def write(self, out: str | Path, *, pdf: bool = False) -> None:
        """Write all files of `deckslab run` to a folder."""
        if pdf:
            from pipelines.report.pdf import require_pdf

            require_pdf()
        write_results(self.result, Path(out), pdf=pdf)

    def _traffic(self, load: str | None) -> TrafficResult:
        if not self.result.traffic:
            raise JobError("the deck file has no [traffic]: there are static cases alone")
        names = [case.name for case in self.result.traffic]
        if load is None:
            return self.result.traffic[0]
        return self.result.traffic[names.index(_known("load", load, names))]

    def _repr_html_(self) -> str:
        return self.result._repr_html_()

    def __repr__(self) -> str:
        found = ", ".join(
            f"{p.result} {p.extreme} {p.value:.4g} {p.unit}" for p in self.result.governing[:4]
        )
        return f"<Analysis of {self.file.deck.title}: {found or 'static cases'}>"


@dataclass(frozen=True, repr=False, eq=False)
class Influence:
    """An influence surface and what the deck's traffic makes of it.

    >>> DeckFile.read("estuary").influence("m_x", at=(6.0, 0.0)).worst
    """

    result: InfluenceResult = field(repr=False)

    @cached_property
    def surface(self) -> "pandas.DataFrame":
        """station_m, offset_m and the value under a load of 1 kN there, in `unit` per kN."""
        x, y = self.result.solved.recovery.points.plan.T
        columns = {"station_m": x, "offset_m": y, "ordinate": self.result.ordinates}
        found: pandas.DataFrame = _package("pandas", "a table").DataFrame(columns)
        return found

    @property
    def unit(self) -> str:
        """Of the result."""
        return self.result.unit

    @cached_property
    def worst(self) -> "pandas.DataFrame":
        """The largest and the smallest value under every case of traffic, and where it stands."""
        rows = (
            {
                "load": one.case,
                "extreme": ("max", "min")[k % 2],
                "value": one.value,
                "error": one.tolerance,
                "unit": self.unit,
                "load_position": _stands(one.position),
            }
            for k, one in enumerate(self.result.worst)
        )
        return _frame(rows, WORST)

    @property
    def picture(self) -> "Picture":
        """Its plan, with the load position of the value furthest from zero."""
        return Picture(drawing(self.result))

    def _repr_svg_(self) -> str:
        return self.picture._repr_svg_()

    def __repr__(self) -> str:
        return f"<Influence on {self.result.wanted.words}, {self.unit} per kN>"


@dataclass(frozen=True, repr=False, eq=False)
class Picture:
    """A drawing, shown by a notebook; it carries the caution.

    >>> DeckFile.read("estuary").influence("m_x", at=(6.0, 0.0)).picture.save("m_x.svg")
    """

    drawing: Drawing

    def save(self, path: str | Path) -> None:
        """Write it as SVG."""
        write_text(Path(path), self._repr_svg_())

    def _repr_svg_(self) -> str:
        return sheet(self.drawing)

    def __repr__(self) -> str:
        return f"<Picture: {self.drawing.words}>"


def _checks(verdict: StandardVerdict) -> Iterable[dict[str, Any]]:
    of = [("as drawn", verdict), *((one.panel, one) for one in verdict.panels)]
    for panel, bars in of:
        for judged in bars.judgements:
            worst = judged.worst
            row = (
                verdict.standard,
                panel,
                judged.check.value,
                "" if judged.layer is None else "_".join(judged.layer),
                judged.adequacy.value,
                None if worst is None else worst.utilisation,
                "" if worst is None else worst.place,
                "" if worst is None else str(worst.source),
                judged.reason,
            )
            yield dict(zip(CHECKS, row, strict=True))


def _stands(arrangement: Arrangement | None) -> str:
    if arrangement is None:
        return "the empty deck"
    return "; ".join(lane.words for lane in arrangement.lanes)


def _unit(name: str) -> dict[str, str]:
    """The unit of a field as its name says it; none of a load position's number."""
    found = [unit for ending, unit in _UNITS.items() if name.endswith(ending)]
    return {"units": found[0]} if found else {}


def _known(what: str, name: str, names: Iterable[str]) -> str:
    """The name where it is one of those. Raises JobError."""
    if name in names:
        return name
    allowed = f"allowed is one of {', '.join(names)}"
    raise JobError.of(f'{what} = "{name}": {allowed}', what, name, allowed)


def _frame(rows: Iterable[Mapping[str, Any]], columns: Sequence[str]) -> "pandas.DataFrame":
    package = _package("pandas", "a table")
    found: pandas.DataFrame = package.DataFrame(list(rows), columns=list(columns))
    return found


def _package(name: str, what: str) -> Any:
    try:
        return import_module(name)
    except ImportError:
        raise MissingError(what, "tables") from None
