"""An application over fiber: how long its channel may be and what it may lose, by class of fiber."""

from __future__ import annotations

from dataclasses import dataclass

from archive.limits.fiber.declared import ApplicationTable, applications_file


@dataclass(frozen=True)
class ApplicationBounds:
    """Bounds of an application over one class of fiber: nm, most m and most dB, each with its letter."""

    nm: float
    most_m: float
    length_confidence: str
    most_db: float
    loss_confidence: str
    sources: tuple[str, ...]


@dataclass(frozen=True)
class OpticalApplication:
    """An application, such as ieee-802.3/10gbase-sr, or budgets of a user's own, which have a title of their own."""

    id: str
    table: ApplicationTable
    own_title: str = ""

    @property
    def title(self) -> str:
        """Whose application."""
        return self.own_title or applications_file().families[self.id.split("/")[0]].title

    @property
    def fibers(self) -> tuple[str, ...]:
        """Classes of fiber that it has bounds for."""
        return tuple(dict.fromkeys(fiber for row in self.table.rows for fiber in row[0]))

    @property
    def confidence(self) -> str:
        """The least sure letter of all its bounds."""
        return max(letter for row in self.table.rows for letter in (row[3], row[5]))

    def over(self, fiber: str) -> ApplicationBounds | None:
        """Its bounds over a class of fiber; None where none are known."""
        for fibers, nm, most_m, length_letter, most_db, loss_letter, sources in self.table.rows:
            if fiber in fibers:
                return ApplicationBounds(nm, most_m, length_letter, most_db, loss_letter, sources)
        return None
