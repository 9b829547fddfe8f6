"""Rules about what losses and lengths of an optical link can be: physics, and numbers against each other."""

from __future__ import annotations

import re
from collections.abc import Iterator

import numpy as np

from archive.grading.fiber import LossTest, loss_tests, named_limit
from archive.limits import fiber
from archive.limits.fiber import LossLimit, OpticalApplication, OpticalLimit
from archive.validation.catalogue.registry import Answer, NotLooked, Raised, Tolerances, rule
from archive.validation.look import RecordLook
from archive.validation.look.record_look import once

Hit = tuple[int, str, str, str]
"""Row of the record, place, found, expected."""
_LIGHT_M_PER_NS = 0.299792458
_NO_LENGTH = "the length of the fibre is not known"


@once
def _tests(look: RecordLook) -> list[tuple[int, LossTest]]:
    """Optical records with a loss: row and loss test."""
    glass = look.words("medium") == "fiber"
    if not glass.any():
        return []
    return [(row, test) for row, test in enumerate(loss_tests(look.batch)) if glass[row] and test.losses]


def _raised(hits: list[Hit]) -> Raised:
    rows, where, found, expected = zip(*hits, strict=True) if hits else ((), (), (), ())
    return Raised(rows, where=list(where), found=list(found), expected=list(expected))


def _of(name: str, *more: str) -> str:
    return ", ".join(x for x in (f"fibre {name}" if name else "", *more) if x) or "the link"


def _means(test: LossTest, name: str) -> dict[float, float]:
    """Mean loss of a fibre by nominal wavelength."""
    found: dict[float, list[float]] = {}
    for loss in test.losses:
        nm = fiber.nominal(loss.nm, test.fiber_class) if loss.nm is not None and loss.fiber == name else None
        if nm is not None:
            found.setdefault(nm, []).append(loss.db)
    return {nm: sum(v) / len(v) for nm, v in found.items()}


def _both(test: LossTest, name: str, nm: float | None) -> tuple[float, float] | None:
    """Losses of both directions at a wavelength."""
    at = {x.direction: x.db for x in test.losses if x.fiber == name and x.nm == nm and x.direction}
    return (at["local-remote"], at["remote-local"]) if len(at) == 2 else None


@rule("optical-loss-too-good")
def optical_loss_too_good(look: RecordLook, limits: Tolerances) -> Iterator[Answer]:
    """A loss below half of what the fiber alone loses over that length."""
    hits, blind = [], []
    for row, test in _tests(look):
        for loss in test.losses:
            length = test.length(loss.fiber)
            nm = fiber.nominal(loss.nm, test.fiber_class) if loss.nm is not None else None
            typical = limits["typical_db_km"].get(f"{nm:g}" if nm is not None else "")
            if length is None:
                blind.append(row)
            elif typical is not None and 0 <= loss.db < limits["share"] * typical * length / 1000 - limits["db"]:
                alone = f"about {typical * length / 1000:.2f} dB of the fibre alone over {length:g} m"
                hits.append((row, _of(loss.fiber, f"{loss.nm:g} nm", loss.direction), f"{loss.db:.2f} dB", alone))
    yield NotLooked(np.unique(np.array(blind, np.int64)), _NO_LENGTH)
    yield _raised(hits)


@rule("optical-wavelengths-out-of-order")
def optical_wavelengths_out_of_order(look: RecordLook, limits: Tolerances) -> Iterator[Answer]:
    """A long multimode fiber that loses less at 850 nm than at 1300 nm."""
    hits = []
    for row, test in _tests(look):
        for name in test.fibers:
            at, length = _means(test, name), test.length(name)
            if length is None or length <= limits["metres"] or not {850.0, 1300.0} <= at.keys():
                continue
            if at[850.0] < at[1300.0] - limits["db"]:
                hits.append((row, _of(name), f"{at[850.0]:.2f} dB at 850 nm", f"{at[1300.0]:.2f} dB at 1300 nm"))
    yield _raised(hits)


@rule("macrobend-suspected")
def macrobend_suspected(look: RecordLook, limits: Tolerances) -> Iterator[Answer]:
    """More loss at 1550 nm than at 1310 nm, once the fiber's own slope times its length is taken off."""
    hits, blind = [], []
    slope = limits["typical_db_km"]["1550"] - limits["typical_db_km"]["1310"]
    for row, test in _tests(look):
        for name in test.fibers:
            at, length = _means(test, name), test.length(name)
            if not {1310.0, 1550.0} <= at.keys():
                continue
            if length is None:
                blind.append(row)
                continue
            excess = at[1550.0] - at[1310.0] - slope * length / 1000
            if excess > limits["db"]:
                found = f"{at[1550.0]:.2f} dB at 1550 nm and {at[1310.0]:.2f} dB at 1310 nm"
                hits.append((row, _of(name), found, f"{excess:.2f} dB more than its length explains"))
    yield NotLooked(np.unique(np.array(blind, np.int64)), _NO_LENGTH)
    yield _raised(hits)


@rule("optical-directions-differ")
def optical_directions_differ(look: RecordLook, limits: Tolerances) -> Iterator[Answer]:
    """Both directions of one fiber and wavelength."""
    hits = []
    for row, test in _tests(look):
        for name, nm in dict.fromkeys((x.fiber, x.nm) for x in test.losses):
            both = _both(test, name, nm)
            if both is None:
                continue
            off = abs(both[0] - both[1])
            share = limits["percent"] / 100 * max(abs(both[0]), abs(both[1]))
            if off > limits["db"] or (off > share and off > limits["least_db"]):
                where = _of(name, f"{nm:g} nm" if nm is not None else "")
                hits.append((row, where, f"{both[0]:.2f} dB there", f"{both[1]:.2f} dB back"))
    yield _raised(hits)


@rule("optical-lengths-of-directions-differ")
def optical_lengths_of_directions_differ(look: RecordLook, limits: Tolerances) -> Iterator[Answer]:
    """The lengths of one fiber measured from both ends."""
    direction = look.words("direction", "readings")
    found: dict[tuple[int, str], dict[str, float]] = {}
    for at in look.readings.of("length").tolist():
        if direction[at]:
            key = (int(look.readings.rows[at]), str(look.readings.subject[at]))
            found.setdefault(key, {})[str(direction[at])] = float(look.readings.value[at])
    hits = []
    for (row, name), metres in found.items():
        if len(metres) == 2:
            there, back = metres["local-remote"], metres["remote-local"]
            if abs(there - back) > max(limits["metres"], limits["percent"] / 100 * max(there, back)):
                hits.append((row, _of(name), f"{there:g} m there", f"{back:g} m back"))
    yield _raised(hits)


_CLASSES = re.compile(r"\bO[MS]\s?-?\d[aA]?\b", re.IGNORECASE)


@rule("fiber-types-mixed")
def fiber_types_mixed(look: RecordLook, _: Tolerances) -> Iterator[Answer]:
    """Several classes of fiber in the words for one cable."""
    words, glass = look.words("cable_found"), look.words("medium") == "fiber"
    hits: list[Hit] = []
    for row in np.flatnonzero(glass):
        named = [re.sub(r"[\s-]", "", x).upper() for x in _CLASSES.findall(str(words[row]))]
        if len(set(named)) > 1:
            hits.append((int(row), str(words[row]), " and ".join(dict.fromkeys(named)), "one"))
    yield _raised(hits)


@rule("optical-fibers-unlike")
def optical_fibers_unlike(look: RecordLook, limits: Tolerances) -> Iterator[Answer]:
    """Lengths of the fibers of one record, and losses that stand out of many."""
    hits: list[Hit] = []
    for row, test in _tests(look):
        lengths = {name: m for name, m in test.length_m.items() if name}
        if len(lengths) > 1:
            middle = float(np.median(list(lengths.values())))
            room = max(limits["percent"] / 100 * middle, limits["metres"])
            far = [(name, m) for name, m in lengths.items() if abs(m - middle) > room]
            hits += [(row, _of(name), f"{m:g} m", f"about {middle:g} m, as the others") for name, m in far]
        hits += _outliers(row, test, limits)
    yield _raised(hits)


def _outliers(row: int, test: LossTest, limits: Tolerances) -> Iterator[Hit]:
    if len(test.fibers) < limits["fibers"]:
        return
    for nm in dict.fromkeys(x.nm for x in test.losses):
        found = {name: np.mean([x.db for x in test.losses if x.fiber == name and x.nm == nm]) for name in test.fibers}
        values = np.array(list(found.values()))
        middle = float(np.nanmedian(values))
        spread = max(1.4826 * float(np.nanmedian(np.abs(values - middle))), limits["least_spread_db"])
        for name, value in found.items():
            if value - middle > limits["sigma"] * spread:
                where = _of(name, f"{nm:g} nm" if nm is not None else "")
                yield row, where, f"{value:.2f} dB", f"about {middle:.2f} dB, as the others"


@rule("optical-limit-contradicts-parts")
def optical_limit_contradicts_parts(look: RecordLook, limits: Tolerances) -> Iterator[Answer]:
    """A limit that the export states against the one made of length, connections, splices and coefficient."""
    hits = []
    for row, test in _tests(look):
        stated = [x for x in test.losses if x.stated_limit is not None and x.nm is not None]
        named = named_limit(test) if stated else None
        limit = fiber.get(named.limit_id) if named and named.limit_id else None
        method, connections = test.row["reference_method"], test.row["connections"]
        known = fiber.reference(method or "") is not None and connections is not None
        if not isinstance(limit, OpticalLimit) or not known or test.row["splices"] is None:
            continue
        said: set[tuple[str, float]] = set()
        for loss in stated:
            length = test.length(loss.fiber)
            assert loss.nm is not None and loss.stated_limit is not None
            if length is None or (loss.fiber, loss.nm) in said:
                continue
            said.add((loss.fiber, loss.nm))
            made = limit.loss(loss.nm, length, connections, test.row["splices"], method)
            room = max(limits["db"], (loss.stated_limit_step or 0.0) / 2) + 1e-9
            if isinstance(made, LossLimit) and abs(made.db - loss.stated_limit) > room:
                where = _of(loss.fiber, f"{loss.nm:g} nm")
                hits.append((row, where, f"{loss.stated_limit:.2f} dB", f"{made.db:.2f} dB by {limit.id}"))
    yield _raised(hits)


@rule("connections-contradict-reference")
def connections_contradict_reference(look: RecordLook, _: Tolerances) -> Iterator[Answer]:
    """Fewer connections in the result than the reference method leaves there."""
    hits = []
    for row, test in _tests(look):
        reference = fiber.reference(test.row["reference_method"] or "")
        count = test.row["connections"]
        if reference is not None and count is not None and count < reference.ends:
            method = str(test.row["reference_method"]).replace("-", " ")
            hits.append((row, method, str(count), f"at least {reference.ends}"))
    yield _raised(hits)


@rule("length-contradicts-optical-delay")
def length_contradicts_optical_delay(look: RecordLook, limits: Tolerances) -> Iterator[Answer]:
    """Length against the time that light takes, by the group index that was set."""
    at = look.readings.of("optical_delay")
    index = look.reals("group_index")
    hits = []
    length = dict(_tests(look))
    for place in at.tolist():
        row = int(look.readings.rows[place])
        test = length.get(row)
        metres = test.length(str(look.readings.subject[place])) if test is not None else None
        if metres is None or np.isnan(index[row]):
            continue
        by_time = _LIGHT_M_PER_NS * float(look.readings.value[place]) / float(index[row])
        if abs(by_time - metres) > max(limits["metres"], limits["percent"] / 100 * metres):
            hits.append((row, _of(str(look.readings.subject[place])), f"{metres:g} m", f"{by_time:.1f} m by the delay"))
    yield _raised(hits)


@rule("length-beyond-application")
def length_beyond_application(look: RecordLook, limits: Tolerances) -> Iterator[Answer]:
    """A fiber that is longer than what some applications reach over its class."""
    hits = []
    for row, test in _tests(look):
        longest = max((m for name in test.fibers if (m := test.length(name)) is not None), default=None)
        if longest is None or not test.fiber_class:
            continue
        short = []
        for name in limits["applications"]:
            application = fiber.get(name)
            bounds = application.over(test.fiber_class) if isinstance(application, OpticalApplication) else None
            if bounds is not None and longest > bounds.most_m:
                short.append(f"{name.rpartition('/')[2].upper()} {bounds.most_m:g} m")
        if short:
            hits.append((row, test.fiber_class.upper(), f"{longest:g} m", ", ".join(short)))
    yield _raised(hits)


@rule("optical-fibers-with-equal-numbers")
def optical_fibers_with_equal_numbers(look: RecordLook, limits: Tolerances) -> Iterator[Answer]:
    """Two fibers of one record whose losses are the same, number for number."""
    hits = []
    for row, test in _tests(look):
        seen: dict[tuple[object, ...], str] = {}
        for name in test.fibers:
            mine = [(x.nm, x.direction, x.db) for x in test.losses if x.fiber == name]
            if len(mine) < limits["numbers"]:
                continue
            key = tuple(sorted(mine, key=str))
            if key in seen:
                hits.append((row, _of(name), f"{len(mine)} losses of fibre {seen[key]}", "numbers of their own"))
            seen.setdefault(key, name)
    yield _raised(hits)


@rule("polarity-wrong")
def polarity_wrong(look: RecordLook, _: Tolerances) -> Iterator[Answer]:
    """The instrument's word on polarity, and positions against the method that is named."""
    hits: list[Hit] = []
    said, rows = look.words("parameter", "reported"), look.rows_for("reported")
    verdict, words = look.words("verdict", "reported"), look.words("words", "reported")
    for at in np.flatnonzero((said == "polarity") & (verdict == "fail") & (rows >= 0)):
        hits.append((int(rows[at]), "as the instrument reported it", f"it says {words[at] or 'fail'}", "pass"))
    method, glass = look.words("polarity_method"), look.words("medium") == "fiber"
    near, far, of = look.words("near", "wiremap"), look.words("far", "wiremap"), look.rows_for("wiremap")
    stated = look.reals("array_positions")
    for row in dict.fromkeys(of[of >= 0].tolist()):
        mine = np.flatnonzero(of == row) if glass[row] else ()
        plug = None if np.isnan(stated[row]) else int(stated[row])
        size = fiber.plug_size((str(x[at]) for at in mine for x in (near, far)), plug)
        for at in mine:
            wanted = fiber.partners(str(near[at]), str(method[row]), size)
            if wanted and far[at] not in wanted:
                arrives = f"the fibre at position {near[at]} arrives at {far[at] or 'nothing'}"
                hits.append((row, f"by the method {method[row]}", arrives, " or ".join(wanted)))
    yield _raised(hits)
