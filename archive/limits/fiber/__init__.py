"""Limits of optical links: by formula from class of fiber, length, connections and splices; applications; events.

limit = fiber.get("tia-568.3-d/om4/link")
limit.loss(850, 300.0, connections=2, splices=0, method="one-cord").db      # 2.40
"""

from __future__ import annotations

from archive.limits.fiber.application import ApplicationBounds, OpticalApplication
from archive.limits.fiber.bandwidth import ModalBandwidth, bandwidths, needed
from archive.limits.fiber.event_limits import event_limit_id, event_limits
from archive.limits.fiber.library import EXPORTED, application_ids, files, get, ids, known, limit_ids
from archive.limits.fiber.link_limit import LossLimit, OpticalLimit, kind_of, nominal, reference
from archive.limits.fiber.named import NamedLimit, find
from archive.limits.fiber.own import by_words, is_optical, load_own
from archive.limits.fiber.polarity_maps import DUPLEX, array_methods, partners, plug_size, polarity_letter
from archive.vocabulary.limit_words import EVENTS

__all__ = [
    "DUPLEX",
    "EVENTS",
    "EXPORTED",
    "ApplicationBounds",
    "LossLimit",
    "ModalBandwidth",
    "NamedLimit",
    "OpticalApplication",
    "OpticalLimit",
    "application_ids",
    "array_methods",
    "bandwidths",
    "by_words",
    "event_limit_id",
    "event_limits",
    "files",
    "find",
    "get",
    "ids",
    "is_optical",
    "kind_of",
    "known",
    "limit_ids",
    "load_own",
    "needed",
    "nominal",
    "partners",
    "plug_size",
    "polarity_letter",
    "reference",
]
