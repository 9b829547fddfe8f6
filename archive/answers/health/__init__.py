"""Health of an archive: what needs attention, and how old what was looked at is."""
