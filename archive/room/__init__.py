"""The reading room: an archive in a browser, on one's own machine. It calls what the commands call."""
