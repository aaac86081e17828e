"""What people look at: overlays, board, bench sheet, report. Strings and bytes out; no files, no clock."""
