"""Blocks of a trace file as values in units: nm, km, ns, dB, dB/km. Scalings are those of the layout.

Times are one way. Distances are c * t / n with the file's own group index; a file without one has no distances.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from archive.formats.otdr.fields import Fields

LIGHT_KM_PER_100PS = 299_792.458 * 1e-10
"""How far light goes in vacuum in 100 ps, km. Speed of light: exact by the definition of the metre (SI)."""

MOST_POINTS = 50_000_000
"""Points that are read at most: far more than any instrument takes."""


@dataclass(frozen=True)
class GeneralParameters:
    """Names of cable, fiber and places; texts as found. fiber_type: ITU-T number (652 is G.652) or 0."""

    cable_id: str
    fiber_id: str
    fiber_type: int
    wavelength_nm: float
    location_a: str
    location_b: str
    cable_code: str
    condition: str
    user_offset_100ps: int
    operator: str
    comment: str


@dataclass(frozen=True)
class Supplier:
    """The instrument, as it names itself."""

    maker: str
    mainframe: str
    mainframe_serial: str
    module: str
    module_serial: str
    software: str
    other: str


@dataclass(frozen=True)
class FixedParameters:
    """How the trace was taken. spacing_100ps: one-way time from point to point, one per pulse width.

    time_unix_s: seconds since 1970, of which the layout does not state the zone. reflectance_threshold_db and the other
    thresholds as found, dB. averaging_found: averaging time as found: tenths of a second by the layout, seconds or
    hundredths by some makers, which no file says. trace_kind: ST standard, RT reversed, DT difference, RF reference; ""
    in format 1.
    """

    time_unix_s: int
    unit: str
    wavelength_nm: float
    acquisition_offset_100ps: int
    pulse_ns: tuple[int, ...]
    spacing_100ps: tuple[float, ...]
    points: tuple[int, ...]
    group_index: float
    backscatter_db: float
    averages: int
    averaging_found: int | None
    range_100ps: int
    loss_threshold_db: float
    reflectance_threshold_db: float
    end_threshold_db: float
    trace_kind: str

    def km(self, hundred_ps: float) -> float:
        """Distance that light covers in this fiber in a one-way time."""
        return hundred_ps * LIGHT_KM_PER_100PS / self.group_index


Block = GeneralParameters | Supplier | FixedParameters


@dataclass(frozen=True)
class OtdrEvent:
    """One row of the event table. loss_db is signed: negative is an apparent gain. reflectance_db: as found, with
    either sign; 0.0 where there is none. code: six characters, what sort of event and who placed it; technique: LS, 2P
    or as found. marks_100ps: the five marks around the event, format 2 only."""

    number: int
    time_100ps: int
    slope_db_km: float
    loss_db: float
    reflectance_db: float
    code: str
    technique: str
    marks_100ps: tuple[int, ...]
    comment: str


@dataclass(frozen=True)
class KeyEvents:
    """The event table. return_loss_db: of the whole link; None where the file gives none (0)."""

    events: tuple[OtdrEvent, ...]
    end_to_end_loss_db: float
    return_loss_db: float | None


@dataclass(frozen=True)
class TracePoints:
    """Level of each point below the reference, dB, float64 of shape (points,), of one pulse width."""

    levels_db: npt.NDArray[np.float64]


def general(fields: Fields, format_: int) -> GeneralParameters:
    """Block GenParams. Errors: BlockDamaged."""
    fields.chars(2)  # language
    cable_id, fiber_id = fields.text(), fields.text()
    fiber_type = fields.u16() if format_ == 2 else 0
    wavelength = float(fields.u16())
    location_a, location_b, cable_code = fields.text(), fields.text(), fields.text()
    condition, offset = fields.chars(2), fields.i32()
    if format_ == 2:
        fields.i32()  # the same offset as a distance
    return GeneralParameters(
        cable_id,
        fiber_id,
        fiber_type,
        wavelength,
        location_a,
        location_b,
        cable_code,
        condition,
        offset,
        fields.text(),
        fields.text(),
    )


def supplier(fields: Fields) -> Supplier:
    """Block SupParams. Errors: BlockDamaged."""
    return Supplier(*(fields.text() for _ in range(7)))


def fixed(fields: Fields, format_: int) -> FixedParameters:
    """Block FxdParams. Errors: BlockDamaged, also for a group index that no glass has."""
    time, unit, wavelength, offset = fields.u32(), fields.chars(2), fields.u16() / 10, fields.i32()
    if format_ == 2:
        fields.i32()  # the same offset as a distance
    widths = fields.u16()
    if not 1 <= widths <= 1000:
        raise fields.damage("an impossible number of pulse widths", found=str(widths))
    pulses = tuple(fields.u16() for _ in range(widths))
    spacings = tuple(fields.u32() / 10_000 for _ in range(widths))
    points = tuple(fields.u32() for _ in range(widths))
    index = fields.u32() / 100_000
    if not 1.0 < index < 2.5:
        raise fields.damage("a group index that no glass has", found=f"{index:g}", expected="about 1.46 to 1.50")
    backscatter, averages = -fields.u16() / 10, fields.u32()
    averaging = fields.u16() if format_ == 2 else None
    range_100ps = fields.u32()
    if format_ == 2:
        fields.i32()  # range as a distance
    fields.i32()  # offset of the front panel
    fields.u16(), fields.u16()  # noise floor and its scale
    fields.u16()  # power offset of the first point
    loss, reflectance, end = fields.u16() / 1000, -fields.u16() / 1000, fields.u16() / 1000
    kind = fields.chars(2) if format_ == 2 and fields.left() >= 2 else ""
    return FixedParameters(
        time,
        unit,
        wavelength,
        offset,
        pulses,
        spacings,
        points,
        index,
        backscatter,
        averages,
        averaging,
        range_100ps,
        loss,
        reflectance,
        end,
        kind,
    )


def key_events(fields: Fields, format_: int) -> KeyEvents:
    """Block KeyEvents. Errors: BlockDamaged."""
    events = []
    for _ in range(fields.u16()):
        number, time = fields.u16(), fields.u32()
        slope, loss, reflectance = fields.i16() / 1000, fields.i16() / 1000, fields.i32() / 1000
        code, technique = fields.chars(6), fields.chars(2)
        marks = tuple(fields.u32() for _ in range(5)) if format_ == 2 else ()
        events.append(OtdrEvent(number, time, slope, loss, reflectance, code, technique, marks, fields.text()))
    total = fields.i32() / 1000
    fields.i32(), fields.i32()  # markers of the total loss
    returned = fields.u16() / 1000
    return KeyEvents(tuple(events), total, returned or None)


def data_points(fields: Fields) -> tuple[TracePoints, ...]:
    """Block DataPts: the points of each pulse width. Errors: BlockDamaged where counts do not fit the block."""
    total, traces = fields.u32(), fields.u16()
    if total > MOST_POINTS:
        raise fields.damage("an impossible number of points", found=str(total), expected=f"at most {MOST_POINTS}")
    made = []
    for _ in range(traces):
        count, scale = fields.u32(), fields.u16() / 1000
        levels = np.frombuffer(fields.raw(2 * count), dtype="<u2").astype(np.float64)
        made.append(TracePoints(levels * (scale / 1000) if scale != 1 else levels / 1000))
    if sum(len(t.levels_db) for t in made) != total:
        raise fields.damage(
            "the counts of points contradict each other",
            found=str(sum(len(t.levels_db) for t in made)),
            expected=str(total),
        )
    return tuple(made)
