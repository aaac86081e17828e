"""Running clearances: axial stack, ring pairs, thermal growth. Numbers in, records out; no files, no pictures."""
