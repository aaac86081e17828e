"""A crate through many processes: what is in it, who measures what, and what is already done."""
