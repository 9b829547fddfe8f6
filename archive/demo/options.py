"""What to simulate."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace
from functools import cached_property

from archive import vocabulary
from archive.demo import cables, draws, jobs
from archive.errors import Trouble
from archive.tables import MOST_RECORDS


@dataclass(frozen=True)
class Cable:
    """A cable type, how often jobs use it against the others, and the share of its links that fail their first test."""

    cable_type: str
    weight: float = 1.0
    fail_rate: float | None = None


@dataclass(frozen=True)
class BadBatch:
    """A bad lot of cable: jobs with this type tested from one day to another (ISO 8601, inclusive) fail more often."""

    cable_type: str
    first_day: str
    last_day: str
    fail_rate: float

    def holds(self, cable_type: str, week: dt.date) -> bool:
        """True where a job that began in this week used that lot."""
        return cable_type == self.cable_type and self.first_day <= week.isoformat() <= self.last_day


@dataclass(frozen=True)
class Options:
    """What to simulate.

    category: cat5e, cat6, cat6a, cat7, cat7a. configuration: permanent-link or channel. construction and gauge: of the
    cable (u-utp, s-ftp, ...; 23); None for what is common in the category. mixture: cable types of which each job has
    one; it takes the place of the three. length_m: shortest, commonest and longest fixed cable.
    fail_rate: share of links that fail their first test; bad_batches: lots that fail more often. retest_share: share of
    the failing that are mended and tested again the same evening, and pass. repeat_share: share of links tested a
    second time with nothing changed but mating and noise.
    cable_is: what the cable of a share of the links really is, whatever its words say: one of cables.ODD;
    cable_is_share: that share.
    bundle: links of one bundle, neighbours in number. bundle_correlation: of the residuals in dB of two links of a
    bundle, 0 to 0.95. equal_lengths: links of a bundle have one length, to 2 cm.
    step: dB to which curves are rounded; None leaves them as they are. derived: adds ACR-F and power sums as curves of
    origin derived. sweeps=False leaves curves out: identities, readings, verdicts and worst margins (drawn from a
    distribution, not found on curves). readings=False leaves readings and wire map out. links: adds the tables of
    links and places. records: most records of a
    batch; None for 80 with curves and 480 without.
    """

    category: str = "cat6a"
    configuration: str = "permanent-link"
    construction: str | None = None
    gauge: int | None = None
    mixture: tuple[Cable, ...] = ()
    length_m: tuple[float, float, float] = (12.0, 42.0, 88.0)
    fail_rate: float = 0.02
    bad_batches: tuple[BadBatch, ...] = ()
    retest_share: float = 0.0
    repeat_share: float = 0.0
    cable_is: str = ""
    cable_is_share: float = 0.0
    bundle: int = 24
    bundle_correlation: float = 0.0
    equal_lengths: bool = False
    step: float | None = 0.1
    derived: bool = False
    sweeps: bool = True
    readings: bool = True
    links: bool = False
    records: int | None = None

    def checked(self) -> Options:
        """Self with the defaults of the category filled in. Errors: Trouble for a value out of range."""
        known = cables.facts()["category"]
        for category in (c.cable_type.split("/")[0] for c in self.mixture) if self.mixture else (self.category,):
            if category not in known:
                raise Trouble(
                    "the simulator has no such category",
                    code="simulator.unknown-category",
                    found=category,
                    expected=", ".join(known),
                )
        if self.configuration not in cables.facts()["configuration"]:
            wanted = ", ".join(cables.facts()["configuration"])
            raise Trouble(
                "the simulator has no such configuration",
                code="simulator.unknown-configuration",
                found=self.configuration,
                expected=wanted,
            )
        if self.cable_is not in ("", *cables.ODD):
            raise Trouble(
                "the simulator has no such cable",
                code="simulator.unknown-cable",
                found=self.cable_is,
                expected=", ".join(cables.ODD),
            )
        if not 0 <= self.bundle_correlation <= 0.95:
            raise Trouble(
                "bundle correlation out of range",
                code="simulator.out-of-range",
                found=str(self.bundle_correlation),
                expected="0 to 0.95",
            )
        if self.records is None:
            return replace(self, records=80 if self.sweeps else 480).checked()
        if not 4 <= self.records <= MOST_RECORDS:
            raise Trouble(
                "records of a batch out of range",
                code="simulator.out-of-range",
                found=str(self.records),
                expected=f"4 to {MOST_RECORDS}",
            )
        low, mode, high = self.length_m
        if not 1 <= low < mode < high <= 120:
            raise Trouble(
                "lengths out of range",
                code="simulator.out-of-range",
                found=str(self.length_m),
                expected="1 <= shortest < common < longest <= 120",
            )
        if self.mixture:
            return self
        made = known[self.category]["made"]
        construction = self.construction or made["construction"]
        if construction not in vocabulary.words("cable_construction"):
            raise Trouble(
                "no such cable construction",
                code="simulator.unknown-construction",
                found=construction,
                expected="as in vocabulary.toml",
            )
        return replace(self, construction=construction, gauge=self.gauge or made["gauge"])

    def of_job(self, seed: int, number: int) -> OfJob:
        """What holds for one job."""
        week = jobs.job(seed, number).week
        if self.mixture:
            total = sum(c.weight for c in self.mixture)
            at = float(draws.uniform(seed, "cable of job", [number])[0, 0]) * total
            chosen = self.mixture[-1]
            for cable in self.mixture:
                if at < cable.weight:
                    chosen = cable
                    break
                at -= cable.weight
            rate = self.fail_rate if chosen.fail_rate is None else chosen.fail_rate
            cable_type = chosen.cable_type
        else:
            cable_type, rate = f"{self.category}/{self.construction}/awg{self.gauge}/solid", self.fail_rate
        for batch in self.bad_batches:
            if batch.holds(cable_type, week):
                rate = batch.fail_rate
        return OfJob(cable_type, self.configuration, rate)


@dataclass(frozen=True)
class OfJob:
    """What all links of a job share: brand-neutral cable type, configuration, share that fails."""

    cable_type: str
    configuration: str
    fail_rate: float

    @cached_property
    def category(self) -> str:
        """Category of the cable."""
        return self.cable_type.split("/")[0]

    @cached_property
    def gauge(self) -> int:
        """Gauge of the conductors."""
        return int(self.cable_type.split("/")[2].removeprefix("awg"))

    @cached_property
    def screened(self) -> bool:
        """True where there is a screen."""
        return self.cable_type.split("/")[1] != "u-utp"

    @cached_property
    def limit_id(self) -> str:
        """The limit to which its links are tested."""
        return str(cables.facts()["category"][self.category]["limit"][self.configuration])

    @cached_property
    def limit_words(self) -> str:
        """That limit as the invented instrument writes it."""
        return str(cables.facts()["category"][self.category]["limit_words"][self.configuration])

    @cached_property
    def cable_words(self) -> str:
        """The cable as the invented instrument writes it: Cat 6A F/UTP 23 AWG."""
        category, construction, gauge, _ = self.cable_type.split("/")
        name = category.replace("cat", "Cat ").replace("a", "A").replace("CAt", "Cat")
        return f"{name} {construction.replace('-', '/').upper()} {gauge[3:]} AWG"
