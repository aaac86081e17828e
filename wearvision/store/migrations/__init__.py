"""How the tables came to be, step by step; run by `wearvision.store.db.migrate`."""
