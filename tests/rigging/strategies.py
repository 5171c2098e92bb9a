"""Hypothesis strategies of the trade, shared by the tests of the core."""

from datetime import UTC, datetime, timedelta

from hypothesis import strategies as st

from rigging import kit, sizing, wind

DAY = datetime(2026, 6, 1, 8, 0, tzinfo=UTC)


def winds_ms(low: float = 0.0, high: float = 35.0) -> st.SearchStrategy[float]:
    """Winds in m/s."""
    return st.floats(low, high, allow_nan=False)


@st.composite
def hours(draw: st.DrawFn, low: float = 0.0, high: float = 30.0) -> wind.Hour:
    """One period of wind within a day of `DAY`."""
    mean = draw(winds_ms(low, high))
    ratio = draw(st.none() | st.floats(1.0, 2.5))
    return wind.Hour(
        start=DAY + timedelta(minutes=draw(st.integers(0, 600))),
        minutes=draw(st.sampled_from([10, 30, 60, 180, 360])),
        mean_ms=mean,
        gust_ms=None if ratio is None else mean * ratio,
        from_deg=draw(st.none() | st.floats(0, 360)),
        temperature_c=draw(st.none() | st.floats(-5, 35)),
        pressure_hpa=draw(st.none() | st.floats(960, 1050)),
        relative_humidity=draw(st.none() | st.floats(0, 1)),
    )


def masses_kg(low: float = 20.0, high: float = 160.0) -> st.SearchStrategy[float]:
    """Body masses in kg."""
    return st.floats(low, high, allow_nan=False)


def areas_m2(low: float = 1.5, high: float = 9.5) -> st.SearchStrategy[float]:
    """Sail areas in m2."""
    return st.floats(low, high, allow_nan=False)


levels = st.sampled_from(sizing.Level)
planing_levels = st.sampled_from([level for level in sizing.Level if level.planes])


@st.composite
def riders(draw: st.DrawFn, level: st.SearchStrategy[sizing.Level] = levels) -> sizing.Rider:
    """Any rider."""
    return sizing.Rider(
        mass_kg=draw(masses_kg()),
        stature_m=draw(st.none() | st.floats(0.95, 2.1)),
        level=draw(level),
        harness=draw(st.booleans()),
    )


@st.composite
def slots(draw: st.DrawFn, low: float = 0.0, high: float = 30.0) -> wind.SlotWind:
    """The wind of two hours, from up to four periods that cover at least one of their minutes."""
    series = draw(st.lists(hours(low, high), min_size=1, max_size=4))
    start = series[0].start
    return wind.slot_wind(series, start, start + timedelta(hours=2))


def steady(mean_ms: float, gust_ms: float | None = None, **more: float) -> wind.SlotWind:
    """One hour of 10 m wind; without a gust, one that doesn't gust at all."""
    gust = mean_ms if gust_ms is None else gust_ms
    hour = wind.Hour(start=DAY, mean_ms=mean_ms, gust_ms=gust, **more)  # type: ignore[arg-type]
    return wind.slot_wind([hour], hour.start, hour.end)


def sail(area_m2: float) -> kit.Sail:
    """A sail of usual proportions."""
    return kit.Sail(
        name=f"Glasswort {area_m2:g}",
        area_m2=area_m2,
        luff_cm=100 * (3.36 * area_m2) ** 0.5,
        boom_cm=120 + 13 * area_m2,
        diameters=frozenset({kit.Diameter.RDM}),
        imcs=21,
    )


diameters = st.sampled_from(kit.Diameter)
curves = st.sampled_from(kit.BendCurve)


@st.composite
def sails(draw: st.DrawFn) -> kit.Sail:
    """Any sail that can be written down, usual or not."""
    luff = draw(st.floats(200, 560))
    low, high = sorted(draw(st.tuples(st.floats(60, 180), st.floats(60, 180))))
    return kit.Sail(
        name="Glasswort",
        area_m2=draw(areas_m2(1, 12)),
        luff_cm=luff,
        boom_cm=draw(st.floats(100, 260)),
        diameters=draw(st.frozensets(diameters, min_size=1)),
        imcs=draw(st.floats(12, 34)),
        curve=draw(curves),
        head=draw(st.sampled_from(kit.Head)),
        head_strap_cm=draw(st.floats(0, 40)),
        battens=draw(st.integers(0, 9)),
        cams=draw(st.integers(0, 4)),
        clew_height_cm=draw(st.none() | st.floats(20, 180)),
        cutout_low_cm=draw(st.none() | st.just(low)),
        cutout_high_cm=draw(st.none() | st.just(high)),
    )


@st.composite
def masts(draw: st.DrawFn) -> kit.Mast:
    """Any mast."""
    return kit.Mast(
        name="Reed",
        length_cm=draw(st.floats(280, 560)),
        diameter=draw(diameters),
        imcs=draw(st.floats(12, 34)),
        curve=draw(curves),
    )


@st.composite
def booms(draw: st.DrawFn) -> kit.Boom:
    """Any boom."""
    low = draw(st.floats(100, 220))
    return kit.Boom(
        name="Rush",
        min_cm=low,
        max_cm=low + draw(st.floats(0, 70)),
        clamps=draw(st.frozensets(diameters, min_size=1)),
        shim=draw(st.booleans()),
    )


@st.composite
def extensions(draw: st.DrawFn) -> kit.Extension:
    """Any extension."""
    low = draw(st.floats(0, 12))
    return kit.Extension(
        name="Sedge",
        diameter=draw(diameters),
        min_cm=low,
        max_cm=low + draw(st.floats(0, 60)),
        step_cm=draw(st.floats(0.5, 4)),
        coupling=draw(st.sampled_from(kit.Coupling)),
    )


@st.composite
def bases(draw: st.DrawFn) -> kit.Base:
    """Any mast base."""
    return kit.Base(
        name="Tussock",
        coupling=draw(st.sampled_from(kit.Coupling)),
        joint=draw(st.sampled_from(kit.Joint)),
        height_cm=draw(st.floats(3, 25)),
    )
