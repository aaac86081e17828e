"""One file per kind of wear."""
