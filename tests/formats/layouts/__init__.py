"""A generator of layouts: documents as the trade keeps results in, with the truth that stands in them.

    from tests.formats.layouts import make, score_file
    layout = make(seed=7, split="train")        # deterministic; nothing is written
    path = layout.write(folder)                 # one file, or a folder of two
    layout.facts                                # per test: what a reader can find (see document.Facts)
    print(layout.told)                          # its traits in one line

    python -m tests.benchmarks layouts --seeds train:0-99             # figures over seeds
    python -m tests.formats.layouts train:7                           # one document, its truth, how commands end
    python -m tests.formats.layouts train:7 --out FOLDER              # the document itself
    python -m tests.formats.layouts train:7 --shrink                  # made simpler as long as it goes wrong

Truth (truth.py: links, tests, scalars and curves of copper with plausible physics) times traits (traits.py: container,
shape, orientation, separators, units, languages, unknown words, meaningless columns, heads and footers, ends, pairs,
signs, encodings, dates, now and then a habit that the mapping language cannot say). Everything is invented; nothing
is the layout of a product, and nothing was taken from the reader or its word lists.

Seeds are of two splits. Whoever works on reading looks at `train` as often as he likes. `test` is for figures alone:
it draws from words of its own besides (held_out.toml), and looking into one of its documents spends it. A figure says
its seeds; figures for the README are of seeds nobody looked at.

scoring.py says what is right, wrong, missing and wrongly sure; `shrink(traits, fails)` finds the simplest document
on which something still goes wrong.
"""

from tests.formats.layouts.make import Layout, build, make, seeds_of
from tests.formats.layouts.scoring import Outcome, Score, compare, score_file
from tests.formats.layouts.traits import Traits, draw, shrink, simpler, told

__all__ = [
    "Layout",
    "Outcome",
    "Score",
    "Traits",
    "build",
    "compare",
    "draw",
    "make",
    "score_file",
    "seeds_of",
    "shrink",
    "simpler",
    "told",
]
