"""Records ready for counting: columnar files in the user's cache, derived from the catalogue and from bags."""
