"""Vanes of an impeller in plan: centre, number, each against its siblings."""
