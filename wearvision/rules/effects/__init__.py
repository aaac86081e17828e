"""What worn parts cost when they are used again: sums of plain numbers, and the ranges told from them."""
