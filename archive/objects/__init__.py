"""Object stores: keys in a bucket, reached by obstore, which is loaded when the first of them is asked for.

An archive on a store has the keys that it would have as files under a folder. `place` makes the Path of an archive of
what a person typed; a StorePath answers what the rooms above ask of a path, and archive.disk takes the steps that
change something. Nothing else knows where an archive lies.
"""

from __future__ import annotations

from archive.objects.path import StorePath, local, place

__all__ = ["StorePath", "local", "place"]
