"""One file per view: which finders look at it, and what of it stands in the summary."""
