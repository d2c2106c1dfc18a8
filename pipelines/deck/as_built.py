"""A panel as built: readings in place of the drawing, and what follows for the bars and the
concrete.

What was not read comes from the drawing, and the result says so. Spalled concrete is gone: from the
thickness and from the cover; bars laid bare have no bond and do not count.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from pipelines.deck.survey import Key, PanelReadings, Statistics, Value
from pipelines.errors import DeckError
from pipelines.standards.cores import InPlace, characteristic
from pipelines.standards.materials import Materials, concrete_of_cores
from pipelines.standards.resistance.bars import (
    DIRECTIONS,
    FACES,
    LAYERS,
    Bars,
    Direction,
    Face,
    Layer,
    Mat,
    SlabBars,
    other_direction,
)

# Stands for the cover and the diameter of bars that do not count [m].
NONE = 1e-5


@dataclass(frozen=True)
class AddedAsBuilt:
    """Bars added to a layer as they are used; from_drawing : what of them was not read."""

    layer: Layer
    bars: Bars
    from_drawing: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class AsBuilt:
    """A panel as built.

    bars : what is used, of the mats alone, or with what is added in a part of the panel.
    drawn_thickness : of the panel on the drawing [m]. sets : all added bars. readings, statistics :
    of what was read.
    from_drawing : what was not read and comes from the drawing, in words. cores : characteristic
    strength of the cores, None where none were taken. least_cover : at each face the least cover to
    the outermost bars [m], spalling taken off, 0 where they are bare; of the drawing where it was
    not read. bare : layers laid bare.
    """

    bars: SlabBars
    drawn_thickness: float
    sets: tuple["AddedAsBuilt", ...]
    readings: PanelReadings
    statistics: Mapping[Key, Statistics]
    from_drawing: tuple[str, ...]
    cores: InPlace | None
    least_cover: Mapping[Face, float]
    bare: tuple[Layer, ...]

    @property
    def panel(self) -> str:
        return self.readings.panel

    def where(self, marks: Sequence[str], name: str, drawn: SlabBars | None = None) -> "AsBuilt":
        """The part of the panel in which bars of these marks are added; those of a layer that is
        laid bare do not count, either. drawn : by whose thicknesses, which are off by as much as
        the panel's is; None = the panel's own."""
        bars = self.bars
        if drawn is not None:
            off = bars.thickness - self.drawn_thickness
            bars = bars.at(drawn.thickness, drawn.run_on).thicker(off)
        missing = list(self.from_drawing)
        for one in self.sets:
            if one.bars.mark not in marks:
                continue
            missing += one.from_drawing
            if one.layer not in self.bare:
                mat, own = bars.mat(one.layer[0]), bars.bars(one.layer)
                own = replace(own, between=(*own.between, one.bars))
                bars = bars.with_mat(one.layer[0], mat.with_bars(one.layer[1], own))
        readings = replace(self.readings, panel=f"{self.panel}, {name}")
        return replace(self, bars=bars, readings=readings, from_drawing=tuple(missing))

    def materials(self, drawn: Materials) -> Materials:
        """With the concrete of the cores, where there are any."""
        if self.cores is None:
            return drawn
        return replace(drawn, concrete=concrete_of_cores(self.cores.f_ck, drawn.standard))

    def was_read(self, key: Key) -> bool:
        """Whether there is a reading of that; of a cover, at all at its face."""
        if key.quantity == "cover":
            return any(k.quantity == "cover" and k.face == key.face for k in self.statistics)
        if key.quantity == "area loss":
            alike = replace(key, quantity="remaining diameter")
            return key in self.statistics or alike in self.statistics
        return key in self.statistics


@dataclass(kw_only=True)
class _Reader:
    """Values of a panel's readings, and what had to be taken from the drawing."""

    readings: PanelReadings
    which: Value
    statistics: Mapping[Key, Statistics]
    missing: list[str] = field(default_factory=list)

    def value(self, key: Key) -> float | None:
        if key not in self.statistics:
            return None
        return self.statistics[key].value(key.quantity, self.which)

    def use(self, key: Key, drawn: float) -> float:
        value = self.value(key)
        if value is None:
            self.missing.append(str(key))
            return drawn
        return value


def as_built(
    drawing: SlabBars,
    readings: PanelReadings,
    which: Value = "mean",
    added: Sequence[tuple[Layer, Bars]] = (),
) -> AsBuilt:
    """The panel's bars with every quantity that was read in place of the drawing's.

    added : bars between those of the mats, with their marks. Where their spacing was not read they
    lie in the gaps as these were read.

    Covers read to both directions go before one to the outermost bars, and that before one to a
    single direction. Cores always give a characteristic strength, whichever value is asked for.

    Raises
    ------
    DeckError
        If the readings contradict each other or do not fit in the thickness.
    """
    statistics = readings.statistics()
    read = _Reader(readings=readings, which=which, statistics=statistics)
    try:
        thickness = read.use(Key("thickness"), drawing.thickness)
        mats = {face: _mat(face, drawing.mat(face), read) for face in FACES}
        whole = SlabBars(thickness, mats["top"], mats["bottom"])
        sets = tuple(_added(layer, one, drawing, whole, read) for layer, one in added)
        bars, covers, bare = whole, {}, []
        for face in FACES:
            gone = read.value(Key("spalled depth", face)) or 0.0
            covers[face] = max(_least_cover(mats[face], face, readings) - gone, 0.0)
            bars, laid_bare = _spalled(bars, face, gone)
            bare += laid_bare
        cores = readings.readings.get(Key("core strength"))
        in_place = None if cores is None else characteristic(cores)
    except ValueError as error:
        raise DeckError("as-built readings", [f"panel {readings.panel}: {error}"]) from error
    return AsBuilt(
        bars=bars,
        drawn_thickness=drawing.thickness,
        sets=sets,
        readings=readings,
        statistics=statistics,
        from_drawing=tuple(read.missing),
        cores=in_place,
        least_cover=covers,
        bare=tuple(layer for layer in LAYERS if layer in bare),
    )


def _mat(face: Face, drawn: Mat, read: _Reader) -> Mat:
    x, y = (_bars((face, direction), drawn.bars(direction), read) for direction in DIRECTIONS)
    covers = {d: Key("cover", face, d) for d in DIRECTIONS}
    known = {d: read.value(key) for d, key in covers.items()}
    seen = read.readings.outer.get(face)
    if known["x"] is not None and known["y"] is not None:
        outer: Direction = "x" if known["x"] < known["y"] else "y"
        if seen not in (None, outer):
            raise ValueError(f"{face}: outer {seen} contradicts the covers read to x and to y")
        mat = Mat(cover=min(known["x"], known["y"]), x=x, y=y, outer=outer)
        # bars cannot overlap: a smaller difference is the scatter of the readings
        inner = max(known["x"], known["y"])
        return replace(mat, gap=max(inner - mat.cover_to(other_direction(outer)), 0.0))
    if seen is None:
        read.missing.append(f"layer order, {face}")
    mat = Mat(cover=drawn.cover, x=x, y=y, outer=seen or drawn.outer, gap=drawn.gap)
    outermost = read.value(Key("cover", face))
    for direction, cover in known.items():
        if outermost is None and cover is not None:
            # one direction read: take off what lies outside it
            return replace(mat, cover=cover - (mat.cover_to(direction) - mat.cover))
    return replace(mat, cover=read.use(Key("cover", face), drawn.cover))


def _added(
    layer: Layer, one: Bars, drawing: SlabBars, mats: SlabBars, read: _Reader
) -> AddedAsBuilt:
    """Bars of a mark, in the gaps of the mats as these were read."""
    gaps = mats.bars(layer).spacing / drawing.bars(layer).spacing
    own = replace(read, missing=[])
    bars = _bars(layer, replace(one, spacing=one.spacing * gaps), own)
    return AddedAsBuilt(layer, bars, tuple(own.missing))


def _bars(layer: Layer, drawn: Bars, read: _Reader) -> Bars:
    diameter = read.use(Key("diameter", *layer, drawn.mark), drawn.diameter)
    spacing = read.use(Key("spacing", *layer, drawn.mark), drawn.spacing)
    loss = read.value(Key("area loss", *layer, drawn.mark)) or 0.0
    left = read.value(Key("remaining diameter", *layer, drawn.mark))
    if left is not None:
        if left > diameter:
            raise ValueError(
                f"{layer[0]}, bars along {layer[1]}: remaining diameter {1e3 * left:g} mm is more "
                f"than the diameter {1e3 * diameter:g} mm"
            )
        loss = max(loss, 1.0 - (left / diameter) ** 2)
    return replace(drawn, diameter=diameter, spacing=spacing, loss=max(loss, drawn.loss))


def _least_cover(mat: Mat, face: Face, readings: PanelReadings) -> float:
    """Least of all readings, each to the outermost bars [m]."""
    found = list(readings.readings.get(Key("cover", face), ()))
    for direction in DIRECTIONS:
        outside = mat.cover_to(direction) - mat.cover
        found += [c - outside for c in readings.readings.get(Key("cover", face, direction), ())]
    return min(found, default=mat.cover)


def _spalled(bars: SlabBars, face: Face, gone: float) -> tuple[SlabBars, list[Layer]]:
    """The slab without so much concrete [m] at a face, and the layers that are bare then."""
    if gone == 0.0:
        return bars, []
    mat = bars.mat(face)
    inner = other_direction(mat.outer)
    left = {d: mat.cover_to(d) - gone for d in DIRECTIONS}
    bare: list[Layer] = [(face, d) for d in DIRECTIONS if left[d] <= 0.0]
    changed = replace(mat, cover=max(left[mat.outer], NONE))
    for _, direction in bare:
        changed = changed.with_bars(direction, _without(mat.bars(direction)))
    if bare:
        changed = replace(changed, gap=max(left[inner] - 2 * NONE, 0.0))
    return bars.with_mat(face, changed).thicker(-gone), bare


def _without(bars: Bars) -> Bars:
    """Bars that do not count and take no room."""
    return Bars(NONE, bars.spacing, 1.0)
