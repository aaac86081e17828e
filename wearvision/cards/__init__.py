"""The printed card: its drawing, its label, and reading the label back."""
