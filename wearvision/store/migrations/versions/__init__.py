"""One script per step of the schema."""
