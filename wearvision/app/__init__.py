"""Use cases: the only place where pictures, rules and files meet. Plain strings and numbers in and out."""
